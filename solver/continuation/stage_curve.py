# SPDX-License-Identifier: MIT
"""The states of a stage as a curve: the last accepted state and the tangent there."""

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import replace

import numpy as np
from petsc4py import PETSc

from annelid.solver.assembly.snapshot import Snapshot
from annelid.solver.continuation.conditions import ArcCondition
from annelid.solver.continuation.control import Control
from annelid.solver.continuation.drivers import STAGE_DRIVERS
from annelid.solver.continuation.newton import Newton
from annelid.solver.continuation.predictor import AcceptedState
from annelid.solver.errors import NoEquilibrium
from annelid.solver.model.ramp import Ramp
from annelid.solver.model.stages import Stage

# A voltage does no work at zero (its force goes with its square): stages that scale loads start from here.
NUDGE = 0.01
SAME = 1e-9  # of a stage: positions this near are one


class StageCurve:
    """The states of a stage as a curve, with its tangent at the last accepted one.

    Attributes:
        searches: Whether states between and beyond those of the steps can be found.
        newton: Solver of the states.
        system: Its system.
        stage: The stage.
        ramp: Its loads.
        length: Value of s at the end: 1, or the arc length requested.
        landings: Positions at which a state is wanted, ascending.
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
        self.landings = np.append(_distinct([*stage.regular(), *self._corners]), self.length)
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
        if self.control is not None and self.driver.scales_loads and not self._loads_act(self.control):
            self.system.multiplier = NUDGE
            self.newton.solve(self.control.loads)
            self.system.factorise()
        self.accept(0.0)

    def _loads_act(self, control: Control) -> bool:
        """Whether a change of the loads changes the part at the present, factorised state.

        A voltage does not where there is none yet: its forces grow with its square.
        """
        control.direction(self._work)
        if self._work.norm() == 0:
            return False
        if not self.is_arc:
            return self.newton.border(control)[1] != 0
        self.system.solve(self._work, self._predicted)
        return self.system.blocks.largest_motion(self._predicted) > 0

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
        at_corner = np.isclose(s, self._corners, rtol=0, atol=SAME).any()  # where the cubic ends
        if s > last.s and self._curved and not at_corner:
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


def _distinct(positions: list[float]) -> list[float]:
    """Positions within a stage, ascending, those that differ by rounding once."""
    distinct: list[float] = []
    for s in sorted(positions):
        if s < 1 - SAME and (not distinct or s > distinct[-1] + SAME):
            distinct.append(s)
    return distinct
