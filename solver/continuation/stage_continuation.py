# SPDX-License-Identifier: MIT
"""Predictor-corrector continuation of one stage: tangent, prediction, correction, return after a failure."""

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import replace

import numpy as np
from petsc4py import PETSc

from annelid.solver.assembly.system import Snapshot
from annelid.solver.continuation.conditions import ArcCondition
from annelid.solver.continuation.control import Control
from annelid.solver.continuation.drivers import STAGE_DRIVERS
from annelid.solver.continuation.newton import Convergence, Newton
from annelid.solver.continuation.predictor import AcceptedState, predict
from annelid.solver.errors import NoEquilibrium
from annelid.solver.model.ramp import Ramp
from annelid.solver.model.stages import Stage

# A correction of the predicted state below this fraction of the part's size is never called a jump.
SMALL_MOVE = 0.02
# A voltage does no work at zero (its force goes with its square): stages that scale loads start from here.
NUDGE = 0.01
_WELL_PREDICTED = 0.2  # corrections above this fraction of a move show that the tangents cannot be trusted
SAME = 1e-9  # of a stage: positions this near are one
_STRAIGHT = 0.8  # cosine between tangent and chord below which an arc step is too long


class StageContinuation:
    """The states of a stage as a curve, continued from the last accepted one.

    Attributes:
        searches: Whether states between and beyond those of the steps can be found.
        newton: Solver of the states.
        system: Its system.
        stage: The stage.
        ramp: Its loads.
        length: Value of s at the end: 1, or the arc length requested.
        driver: What drives the stage.
        control: Condition and load parameter; ``None`` under load control.
        last: The last accepted state.
        read_fields: Reads the fields of the present state; why no part can be in it, or ``None``.

    Args:
        newton: As above; the present state of its system is where the stage starts.
        stage: As above.
        ramp: As above.
        read_fields: As above.
        multiplier: First multiplier; by default that of the driver.
    """

    searches = True

    def __init__(
        self,
        newton: Newton,
        stage: Stage,
        ramp: Ramp,
        read_fields: Callable[[], NoEquilibrium | None],
        *,
        multiplier: float | None = None,
    ) -> None:
        self.newton = newton
        self.system = newton.system
        self.stage = stage
        self.ramp = ramp
        self.length = stage.arc if stage.arc is not None else 1.0
        self._corners = [0.0, *ramp.corners()]
        self._landings = np.append(_distinct([*stage.regular(), *self._corners]), self.length)
        self.read_fields = read_fields
        self._work, self._predicted, self._difference = (self.system.vector() for _ in range(3))
        self.driver = driver = STAGE_DRIVERS[stage.control](self.system, stage, ramp, newton.scales.length)
        self.control: Control | None = None
        λ = driver.first_multiplier if multiplier is None else multiplier
        if driver.condition is not None:
            self.control = Control(driver.condition, driver.parameter(0.0), driver.start)
        self.last = AcceptedState(
            Snapshot(self.system.x.copy(), ramp.start, λ), self.system.vector(), 0.0, 0.0
        )
        self._before: AcceptedState | None = None  # the state before it, if the curve through both is trusted
        self._curved = True
        self._sense = -1.0 if stage.backward else 1.0

    @property
    def is_arc(self) -> bool:
        """Whether positions are arc lengths."""
        return self.stage.control == "arc"

    @property
    def arc_condition(self) -> ArcCondition:
        """The condition of a continuation by arc length."""
        assert isinstance(self.driver.condition, ArcCondition)
        return self.driver.condition

    @property
    def multiplier(self) -> float:
        """The present multiplier, 0 under load control."""
        return self.system.multiplier if self.control is not None else 0.0

    def parameter_at(self, s: float) -> float:
        """Stage parameter of the present state at ``s``: how far the loads of the stage are reached."""
        return s if self.control is None else self.system.multiplier

    # the present state

    def start(self) -> None:
        """Accept the present state; where the loads of the stage do not act yet, nudge them first."""
        self.system.multiplier = self.last.state.multiplier
        if not self.system.factor_is_near:
            self.system.assemble_residual()
            self.system.factorise()
        if self.control is not None and self.driver.scales_loads:
            self.control.direction(self._work)
            if self._work.norm() == 0:
                self.system.multiplier = NUDGE
                self.newton.solve(self.control.loads)
                self.system.factorise()
        self.accept(0.0)

    def start_at(self, s: float) -> None:
        """Take the present state as the last accepted one, without a tangent."""
        self.last.state, self.last.s = self.system.snapshot(), s

    @contextmanager
    def based_on(self, s: float, state: Snapshot) -> Iterator[None]:
        """Measure an arc from an earlier state on, to solve states behind the last accepted one.

        Any state may be the present one afterwards.
        """
        last = self.last
        self.last = AcceptedState(state, last.tangent, s, last.rate)
        self._measure_arc()
        try:
            yield
        finally:
            self.last = last
            self._measure_arc()

    def _measure_arc(self) -> None:
        if self.is_arc:
            self.system.restore(self.last.state)
            self.arc_condition.start()

    def finish(self) -> None:
        """End the stage here: the path goes on elsewhere, along a branch."""
        self.last.s = self.length

    def accept(self, s: float) -> None:
        """Accept the present, factorised state and compute its tangent."""
        last = self.last
        chord = self._chord() if self.is_arc and s > last.s else None
        self._before = None
        if (
            s > last.s and self._curved and not np.isclose(s, self._corners, rtol=0, atol=SAME).any()
        ):  # the cubic ends at a corner
            self._before = replace(last, tangent=last.tangent.copy())
        last.state, last.s = self.system.snapshot(), s
        self._compute_tangent(chord)

    def _chord(self) -> PETSc.Vec:
        """From the last accepted to the present state."""
        chord = self.system.x.copy()
        chord.axpy(-1.0, self.last.state.x)
        return chord

    def _compute_tangent(self, chord: PETSc.Vec | None) -> None:
        last, control = self.last, self.control
        if control is None:
            self.system.load_rate(self.ramp.rate_at(last.s), self._work)
            self.system.solve(self._work, last.tangent)
            return
        control.parameter = self.driver.parameter(last.s)
        if self.is_arc:
            self._compute_arc_tangent(control, chord)
            return
        a, pivot = self.newton.border(control)
        a.copy(last.tangent)
        change, others = self.driver.change, self.driver.others_rate()
        if others is not None:
            self.system.load_rate(others, self._work)
            self.system.solve(self._work, self._predicted)
            change -= self.newton.gradient_product(self._predicted)
        last.rate = change / pivot
        last.tangent.scale(last.rate)
        if others is not None:
            last.tangent.axpy(1.0, self._predicted)

    def _compute_arc_tangent(self, control: Control, chord: PETSc.Vec | None) -> None:
        """Unit tangent of the arc, in the sense of the last chord."""
        condition = self.arc_condition
        control.direction(self._work)
        self.system.solve(self._work, self.last.tangent)
        norm = condition.norm(self.last.tangent)
        if not np.isfinite(norm) or norm == 0:
            raise NoEquilibrium("the loads of the stage do not move the part", residual=norm)
        sense = self._sense
        if chord is not None:
            sense = float(np.sign(condition.inner(chord, self.last.tangent))) or 1.0
        self.last.rate = sense / norm
        self.last.tangent.scale(self.last.rate)
        condition.start()

    def set_tangent(self, direction: PETSc.Vec) -> None:
        """Continue an arc along a direction, at constant loads."""
        direction.copy(self.last.tangent)
        self.last.tangent.scale(1 / self.arc_condition.norm(self.last.tangent))
        self.last.rate = 0.0

    def held_modes(self) -> int:
        """Unstable modes under given loads that the control makes stable, at the present, factorised state.

        By Sylvester's law on the bordered matrix: a state that is stable while a condition is held has one
        negative pivot more than constraint unknowns. The border's pivot is -(h + fᵀK⁻¹f) for a conjugate pair
        (volume, charge) and -gᵀK⁻¹g for a held displacement or opening.
        """
        if self.control is None or self.is_arc:
            return 0
        conjugate = self.control.condition.conjugate
        pivot = (
            self.newton.border(self.control)[1] if conjugate else self.newton.condition_pivot(self.control)
        )
        return 0 if pivot > 0 else 1

    def load_slope(self) -> float:
        """Sign and size of dλ/ds at the present, factorised state, in the sense of the last tangent."""
        assert self.control is not None
        if not self.is_arc:
            _, pivot = self.newton.border(self.control)
            return self.driver.change / pivot
        self.control.direction(self._work)
        self.system.solve(self._work, self._predicted)
        sense = np.sign(self.arc_condition.inner(self.last.tangent, self._predicted)) or 1.0
        return float(sense / self.arc_condition.norm(self._predicted))

    # the next state

    def target(self, step: float) -> float:
        """Position of the next state for a step: at most the next one at which a state is wanted.

        These are the end of the stage, and in a stage that takes time its equal steps and the corners of its
        waves, so that the states of successive cycles have the same phases.
        """
        s = self.last.s
        wanted = self._landings[self._landings > s + SAME * self.length]
        end = float(wanted[0]) if wanted.size else self.length
        return s + step if s + step < end - SAME * self.length else end

    def advance(self, s: float) -> Convergence:
        """Predict the state at ``s`` from the last accepted one and correct it.

        Raises:
            NoEquilibrium: No state was found there, or one off the path; the last accepted state is the
                present one again.
        """
        system, last = self.system, self.last
        try:
            λ = predict(system.x, self._before, last, s)
            predicted = self._moves(last.state.x)
            system.x.copy(self._predicted)
            convergence = self._correct(s, λ)
            self._refuse_jump(predicted)
            self._refuse_turn()
            if self.is_arc and last.state.multiplier < 1.0 < system.multiplier:
                convergence = self._correct_onto_loads(convergence)
            return convergence
        except NoEquilibrium:
            self.go_back()
            self._before, self._curved = None, True
            raise

    def solve_between(
        self, s: float, low: tuple[float, Snapshot], high: tuple[float, Snapshot]
    ) -> Convergence:
        """State at ``s``, factorised, from the chord between two states at other positions.

        Raises:
            NoEquilibrium: No state was found there.
        """
        fraction = (s - low[0]) / (high[0] - low[0])
        self.system.interpolate(low[1], high[1], fraction)
        if self.control is None:
            convergence = self.newton.solve(self.ramp.at(s))
        else:
            self.set_target(s)
            convergence = self.newton.solve(self.control.loads, self.control)
        self.system.factorise()
        return convergence

    def settle(self, s: float, state: Snapshot) -> None:
        """Make a state found at ``s`` the present one, factorised, and read its fields."""
        self.system.restore(state, factorise=True)
        self.read_fields()
        if self.control is not None:
            self.set_target(s)

    def _correct(self, s: float, λ: float) -> Convergence:
        if self.control is None:
            return self.newton.solve(self.ramp.at(s))
        self.set_target(s)
        self.system.multiplier = λ
        return self.newton.solve(self.control.loads, self.control)

    def _correct_onto_loads(self, overshot: Convergence) -> Convergence:
        """Bring an arc that has passed the loads of its stage back onto them, if that is possible."""
        system, last = self.system, self.last.state
        beyond = system.snapshot()
        fraction = (1.0 - last.multiplier) / (beyond.multiplier - last.multiplier)
        system.x.axpby(1 - fraction, fraction, last.x)
        try:
            convergence = self.newton.solve(self.ramp.at(1.0))
        except NoEquilibrium:
            system.restore(beyond)
            system.assemble_residual()
            return overshot
        system.multiplier = 1.0
        self.read_fields()
        return convergence

    def set_target(self, s: float) -> None:
        """Give the control the value that belongs to ``s``."""
        assert self.control is not None
        self.control.parameter = self.driver.parameter(s)
        self.control.target = self.driver.target(s, self.last.s)

    def go_back(self) -> None:
        """Return to the last accepted state."""
        self.system.restore(self.last.state)

    def _moves(self, other: PETSc.Vec) -> tuple[float, float]:
        """Root mean square and largest change of displacement from a state, over the size of the part."""
        self.system.x.copy(self._difference)
        self._difference.axpy(-1.0, other)
        return self.newton.relative_motion(self._difference)

    def _refuse_jump(self, predicted: tuple[float, float]) -> None:
        """Refuse a state off the path, or with inverted cells.

        Beyond a limit point Newton's method may find a distant branch. It may also crumple a few cells where
        a step runs into an obstacle: a node is then corrected by more than any was to move.

        Args:
            predicted: Root mean square and largest move that were predicted, over the size of the part.

        Raises:
            NoEquilibrium: The state is far from the predicted one, or cells are inverted.
        """
        move, furthest = predicted
        corrected, most = self._moves(self._predicted)
        if corrected > max(SMALL_MOVE, 0.5 * move) or most > max(SMALL_MOVE, furthest):
            raise NoEquilibrium("the next state found is far off the path", residual=corrected)
        impossible = self.read_fields()
        if impossible is not None:
            raise impossible
        self._curved = corrected < _WELL_PREDICTED * move

    def _refuse_turn(self) -> None:
        """Refuse an arc step along which the path bends so far that it could be followed back.

        Raises:
            NoEquilibrium: The angle between chord and tangent is too large.
        """
        if not self.is_arc:
            return
        chord = self._chord()
        if self.arc_condition.inner(chord, self.last.tangent) < _STRAIGHT * self.arc_condition.norm(chord):
            raise NoEquilibrium("the path turns too sharply for this step")


def _distinct(positions: list[float]) -> list[float]:
    """Positions within a stage, ascending, those that differ by rounding once."""
    distinct: list[float] = []
    for s in sorted(positions):
        if s < 1 - SAME and (not distinct or s > distinct[-1] + SAME):
            distinct.append(s)
    return distinct
