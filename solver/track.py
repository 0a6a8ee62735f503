# SPDX-License-Identifier: MIT
"""One stage as a curve of states: tangent, prediction, correction, and going back after a failure."""

from collections.abc import Callable
from dataclasses import dataclass, replace

import dolfinx_solver  # noqa: F401  (orders MPI ahead of the bindings)

import numpy as np
from petsc4py import PETSc

from solver.control import (
    ArcCondition,
    ChargeCondition,
    Condition,
    Control,
    Multiplier,
    VolumeCondition,
    opening_condition,
    point_condition,
    pressure_multiplier,
    voltage_multiplier,
)
from solver.errors import NoEquilibrium
from solver.loads import Loads
from solver.newton import Convergence, Newton
from solver.stages import Motion, Stage

# A correction of the predicted state below this share of the part's size is never called a jump.
SMALL_MOVE = 0.02
# A voltage does no work at zero (its force goes with its square): tracks that scale loads set out from here.
NUDGE = 0.01
_WELL_PREDICTED = 0.2  # corrections above this share of a move speak against the tangents, and for no cubic
_STRAIGHT = 0.8  # cosine between tangent and chord below which an arc step is too long
_FURTHEST = 1.01  # steps ahead, in steps behind, to which the cubic through two states is trusted


@dataclass
class Mark:
    """A state on a track that one can come back to.

    Attributes:
        x: Unknowns.
        tangent: dx/ds.
        s: Position along the track.
        λ: Multiplier (0 under load control).
        rate: dλ/ds.
        loads: Loads in force.
    """

    x: PETSc.Vec
    tangent: PETSc.Vec
    s: float
    λ: float
    rate: float
    loads: Loads


class Track:
    """A stage under way.

    Attributes:
        mark: The state last accepted, with its tangent.
        control: Condition and multiplier; ``None`` under load control.
        length: Value of s at the end: 1, or the arc length asked for.
        upright: Reads the fields of the present state; False if the part is turned inside out.
    """

    def __init__(self, newton: Newton, stage: Stage, motion: Motion, upright: Callable[[], bool]) -> None:
        self.newton = newton
        self.system = newton.system
        self.stage = stage
        self.motion = motion
        self.length = stage.arc if stage.arc is not None else 1.0
        self.upright = upright
        self._base = self.system.vector()
        self._predicted = self.system.vector()
        self._condition, self._ends = self._condition_of(stage)
        λ = self._first_multiplier()
        self.control = None
        if self._condition is not None:
            self.control = Control(self._condition, self._multiplier(0.0), λ, self._ends[0])
        x, tangent = self.system.vector(), self.system.vector()
        self.mark = Mark(x, tangent, 0.0, λ, 0.0, motion.start)
        self._before: Mark | None = None  # the mark before it, while the curve through both may be trusted
        self._curved = True
        self._sense = -1.0 if stage.backward else 1.0

    @property
    def is_arc(self) -> bool:
        """Whether the track is measured by arc length."""
        return self.stage.control == "arc"

    def _condition_of(self, stage: Stage) -> tuple[Condition | None, tuple[float, float]]:
        """Condition of a stage's control and its values at s = 0 and 1."""
        system = self.system
        length = self.newton.scales.length
        condition: Condition
        if stage.volume is not None:
            condition, end = VolumeCondition(system), stage.volume
        elif stage.charges:
            end = sum(stage.charges.values())
            condition = ChargeCondition(system, tuple(stage.charges), abs(end))
        elif stage.point is not None:
            end = stage.point.motion
            condition = point_condition(system, stage.point.position, stage.point.component, length)
        elif stage.opening is not None:
            name, end = stage.opening
            height = next(s.height for s in system.problem.model.sections if s.name == name)
            condition = opening_condition(system, height, length)
        elif stage.arc is not None:
            return ArcCondition(system, length), (0.0, 0.0)
        else:
            return None, (0.0, 0.0)
        return condition, (condition.value(), end)

    def _first_multiplier(self) -> float:
        if self.stage.control == "volume":
            return self.motion.start.pressure
        if self.stage.control == "charge":
            return self.motion.start.voltages.get(next(iter(self.stage.charges)), 0.0)
        return 0.0

    def _multiplier(self, s: float) -> Multiplier:
        if self.stage.control == "volume":
            return pressure_multiplier(self.motion.at(s))
        if self.stage.control == "charge":
            return voltage_multiplier(self.motion.at(s), tuple(self.stage.charges))
        return Multiplier(self.motion.at, self.motion.rate)

    # the present state

    def start(self) -> None:
        """Make the present state the first mark; where the loads of the stage do not act yet, nudge them."""
        if not self.newton.factorised:
            self.system.assemble_residual()
            self.system.factorise()
            self.newton.factorised = True
        if self.control is not None and self.stage.control in ("displacement", "opening", "arc"):
            self.control.direction(self._base)
            if self._base.norm() == 0:
                self.control.λ = NUDGE
                self.newton.solve(self.control.loads)
                self.system.factorise()
        self.accept(0.0)

    def loads(self) -> Loads:
        """Loads of the state solved last."""
        assert self.system.loads is not None
        return self.system.loads

    def accept(self, s: float) -> None:
        """Make the present, factorised state the mark and take its tangent."""
        mark = self.mark
        chord = None
        if self.is_arc and s > mark.s:
            chord = self.system.x.copy()
            chord.axpy(-1.0, mark.x)
        self._before = None
        if s > mark.s and self._curved:
            self._before = replace(mark, x=mark.x.copy(), tangent=mark.tangent.copy())
        self.system.x.copy(mark.x)
        mark.s, mark.loads = s, self.loads()
        mark.λ = self.control.λ if self.control is not None else 0.0
        self._take_tangent(chord)

    def _take_tangent(self, chord: PETSc.Vec | None) -> None:
        mark, control = self.mark, self.control
        if control is None:
            self.system.load_rate(self.motion.rate, self._base)
            self.system.solve(self._base, mark.tangent)
            return
        control.multiplier = self._multiplier(mark.s)
        if self.is_arc:
            self._take_arc_tangent(control, chord)
            return
        a, pivot = self.newton.border(control)
        a.copy(mark.tangent)
        wanted = self.wanted
        moving = self._others_rate()
        if moving is not None:
            self.system.load_rate(moving, self._base)
            self.system.solve(self._base, self._predicted)
            wanted -= self.newton.gradient_product(self._predicted)
        mark.rate = wanted / pivot
        mark.tangent.scale(mark.rate)
        if moving is not None:
            mark.tangent.axpy(1.0, self._predicted)

    def _others_rate(self) -> Loads | None:
        """Rate of the loads that move along with a volume or charge stage, ``None`` if none does."""
        if self.stage.control not in ("volume", "charge"):
            return None
        rate = self.motion.rate
        if self.stage.control == "volume":
            rate = replace(rate, pressure=0.0)
        return None if rate.is_still else rate

    def _take_arc_tangent(self, control: Control, chord: PETSc.Vec | None) -> None:
        """Unit tangent of the arc; it goes on in the sense of the last chord."""
        condition = control.condition
        assert isinstance(condition, ArcCondition)
        control.direction(self._base)
        self.system.solve(self._base, self.mark.tangent)
        norm = condition.norm(self.mark.tangent)
        if not np.isfinite(norm) or norm == 0:
            raise NoEquilibrium("the loads of the stage do not move the part", residual=norm)
        sense = self._sense
        if chord is not None:
            sense = float(np.sign(condition.inner(chord, self.mark.tangent))) or 1.0
        self.mark.rate = sense / norm
        self.mark.tangent.scale(self.mark.rate)
        condition.start()

    @property
    def wanted(self) -> float:
        """Change of the condition per unit of s."""
        return self._ends[1] - self._ends[0]

    def slope_now(self) -> float:
        """dλ/ds of an arc at the present, factorised state, with the sense of the mark's tangent."""
        control = self.control
        assert control is not None
        assert isinstance(control.condition, ArcCondition)
        control.direction(self._base)
        self.system.solve(self._base, self._predicted)
        sense = np.sign(control.condition.inner(self.mark.tangent, self._predicted)) or 1.0
        return float(sense / control.condition.norm(self._predicted))

    # moving on

    def advance(self, s: float) -> Convergence:
        """Predict the state at ``s`` from the mark and correct it.

        Raises:
            NoEquilibrium: No state was found there, or one off the path; the mark is the present state again.
        """
        system, mark = self.system, self.mark
        try:
            λ = self._predict(s)
            moved = self._moves(mark.x)
            system.x.copy(self._predicted)
            convergence = self._correct(s, λ)
            self._refuse_jump(moved)
            self._refuse_turn()
            if self.is_arc and self.control is not None and self.mark.λ < 1.0 < self.control.λ:
                convergence = self._land_on_loads(self.control, convergence)
            return convergence
        except NoEquilibrium:
            self.go_back()
            self._before, self._curved = None, True
            raise

    def _refuse_turn(self) -> None:
        """An arc that bends too far within a step could be followed back the way it came.

        Raises:
            NoEquilibrium: The chord leaves the tangent by too large an angle.
        """
        if not self.is_arc or self.control is None:
            return
        condition = self.control.condition
        assert isinstance(condition, ArcCondition)
        chord = self.system.x.copy()
        chord.axpy(-1.0, self.mark.x)
        if condition.inner(chord, self.mark.tangent) < _STRAIGHT * condition.norm(chord):
            raise NoEquilibrium("the path turns too sharply for this step")

    def _predict(self, s: float) -> float:
        """Fill ``x`` by the cubic through the last two marks and their tangents, else along the tangent.

        Returns:
            The multiplier predicted in the same way.
        """
        x, one, two = self.system.x, self._before, self.mark
        two.x.copy(x)
        if one is None or s - two.s > _FURTHEST * (two.s - one.s):
            x.axpy(s - two.s, two.tangent)
            return two.λ + two.rate * (s - two.s)
        d = two.s - one.s
        θ = (s - one.s) / d
        # Hermite's basis; the weights of x sum to one.
        start, end = (1 + 2 * θ) * (1 - θ) ** 2, θ**2 * (3 - 2 * θ)
        slope_start, slope_end = d * θ * (1 - θ) ** 2, d * θ**2 * (θ - 1)
        x.scale(end)
        x.axpy(start, one.x)
        x.axpy(slope_start, one.tangent)
        x.axpy(slope_end, two.tangent)
        return start * one.λ + end * two.λ + slope_start * one.rate + slope_end * two.rate

    def _correct(self, s: float, λ: float) -> Convergence:
        if self.control is None:
            return self.newton.solve(self.motion.at(s))
        self.set_target(s)
        self.control.λ = λ
        return self.newton.solve(self.control.loads, self.control)

    def _land_on_loads(self, control: Control, overshot: Convergence) -> Convergence:
        """An arc that has passed the loads its stage names goes back onto them, if it can."""
        share = (1.0 - self.mark.λ) / (control.λ - self.mark.λ)
        system = self.system
        beyond, λ = system.x.copy(), control.λ
        system.x.axpby(1 - share, share, self.mark.x)
        try:
            convergence = self.newton.solve(self.motion.at(1.0))
        except NoEquilibrium:
            beyond.copy(system.x)
            system.apply(self.motion.at(λ))
            system.assemble_residual()
            self.newton.factorised = False
            return overshot
        control.λ = 1.0
        self.upright()
        return convergence

    def set_target(self, s: float) -> None:
        """Ask the control for the value that belongs to ``s``."""
        assert self.control is not None
        self.control.multiplier = self._multiplier(s)
        if self.is_arc:
            self.control.target = abs(s - self.mark.s)
        else:
            self.control.target = self._ends[0] + (self._ends[1] - self._ends[0]) * s

    def go_back(self) -> None:
        """Return to the mark."""
        self.mark.x.copy(self.system.x)
        self.system.apply(self.mark.loads)
        if self.control is not None:
            self.control.λ = self.mark.λ
        self.newton.factorised = False

    def _moves(self, other: PETSc.Vec) -> tuple[float, float]:
        """Root mean square and largest change of displacement from a state, over the size of the part."""
        x = self.system.x
        other.axpby(1.0, -1.0, x)
        norm, largest = self.system.block_norms(other)[0], self.system.largest_motion(other)
        other.axpby(1.0, -1.0, x)
        nodes = len(self.system.problem.model.body.points)
        length = self.newton.scales.length
        return norm / (np.sqrt(nodes) * length), largest / length

    def _refuse_jump(self, moved: tuple[float, float]) -> None:
        """Newton may land on a distant branch beyond a limit point; such a state is no continuation.

        It may also crumple a few cells where a step runs into an obstacle: a node is then corrected by more
        than any was to move.

        Args:
            moved: Root mean square and largest move that were predicted, over the size of the part.

        Raises:
            NoEquilibrium: The state lies far from the predicted one, or turns the part inside out.
        """
        predicted, furthest = moved
        corrected, most = self._moves(self._predicted)
        if corrected > max(SMALL_MOVE, 0.5 * predicted) or most > max(SMALL_MOVE, furthest):
            raise NoEquilibrium("the next state found lies far off the path", residual=corrected)
        if not self.upright():
            raise NoEquilibrium("the next state found is turned inside out", residual=corrected)
        self._curved = corrected < _WELL_PREDICTED * predicted
