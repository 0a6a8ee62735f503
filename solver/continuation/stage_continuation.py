# SPDX-License-Identifier: MIT
"""One stage as a curve of states: tangent, prediction, correction, and going back after a failure."""

from collections.abc import Callable
from dataclasses import replace

import numpy as np
from petsc4py import PETSc

from annelid.solver.continuation.conditions import ArcCondition
from annelid.solver.continuation.control import Control
from annelid.solver.continuation.newton import Convergence, Newton
from annelid.solver.continuation.prediction import Mark, predict
from annelid.solver.continuation.stage_control import StageControl
from annelid.solver.errors import NoEquilibrium
from annelid.solver.model.loads import Loads
from annelid.solver.model.motion import Motion
from annelid.solver.model.stages import Stage

# A correction of the predicted state below this share of the part's size is never called a jump.
SMALL_MOVE = 0.02
# A voltage does no work at zero (its force goes with its square): tracks that scale loads set out from here.
NUDGE = 0.01
_WELL_PREDICTED = 0.2  # corrections above this share of a move speak against the tangents, and for no cubic
_STRAIGHT = 0.8  # cosine between tangent and chord below which an arc step is too long


class Track:
    """A stage under way.

    Attributes:
        mark: The state last accepted, with its tangent.
        control: Condition and multiplier; ``None`` under load control.
        length: Value of s at the end: 1, or the arc length asked for.
        asked: What the stage's control asks.
        upright: Reads the fields of the present state; False if the part is turned inside out.
    """

    def __init__(self, newton: Newton, stage: Stage, motion: Motion, upright: Callable[[], bool]) -> None:
        self.newton = newton
        self.system = newton.system
        self.stage = stage
        self.motion = motion
        self.length = stage.arc if stage.arc is not None else 1.0
        self.upright = upright
        self._base, self._predicted = (self.system.vector() for _ in range(2))
        self.asked = asked = StageControl(self.system, stage, motion, newton.scales.length)
        λ = asked.first_multiplier
        self.control = None
        if asked.condition is not None:
            self.control = Control(asked.condition, asked.multiplier(0.0), λ, asked.start)
        self.mark = Mark(self.system.vector(), self.system.vector(), 0.0, λ, 0.0, motion.start)
        self._before: Mark | None = None  # the mark before it, while the curve through both may be trusted
        self._curved = True
        self._sense = -1.0 if stage.backward else 1.0

    @property
    def is_arc(self) -> bool:
        """Whether the track is measured by arc length."""
        return self.stage.control == "arc"

    @property
    def arc_condition(self) -> ArcCondition:
        """The condition of a track that is measured by arc length."""
        assert isinstance(self.asked.condition, ArcCondition)
        return self.asked.condition

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
        chord = self._chord() if self.is_arc and s > mark.s else None
        self._before = None
        if s > mark.s and self._curved:
            self._before = replace(mark, x=mark.x.copy(), tangent=mark.tangent.copy())
        self.system.x.copy(mark.x)
        mark.s, mark.loads = s, self.loads()
        mark.λ = self.control.λ if self.control is not None else 0.0
        self._take_tangent(chord)

    def _chord(self) -> PETSc.Vec:
        """From the mark to the present state."""
        chord = self.system.x.copy()
        chord.axpy(-1.0, self.mark.x)
        return chord

    def _take_tangent(self, chord: PETSc.Vec | None) -> None:
        mark, control = self.mark, self.control
        if control is None:
            self.system.load_rate(self.motion.rate, self._base)
            self.system.solve(self._base, mark.tangent)
            return
        control.multiplier = self.asked.multiplier(mark.s)
        if self.is_arc:
            self._take_arc_tangent(control, chord)
            return
        a, pivot = self.newton.border(control)
        a.copy(mark.tangent)
        wanted, moving = self.asked.wanted, self.asked.others_rate()
        if moving is not None:
            self.system.load_rate(moving, self._base)
            self.system.solve(self._base, self._predicted)
            wanted -= self.newton.gradient_product(self._predicted)
        mark.rate = wanted / pivot
        mark.tangent.scale(mark.rate)
        if moving is not None:
            mark.tangent.axpy(1.0, self._predicted)

    def _take_arc_tangent(self, control: Control, chord: PETSc.Vec | None) -> None:
        """Unit tangent of the arc; it goes on in the sense of the last chord."""
        condition = self.arc_condition
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

    def slope_now(self) -> float:
        """dλ/ds of an arc at the present, factorised state, with the sense of the mark's tangent."""
        control = self.control
        assert control is not None
        control.direction(self._base)
        self.system.solve(self._base, self._predicted)
        sense = np.sign(self.arc_condition.inner(self.mark.tangent, self._predicted)) or 1.0
        return float(sense / self.arc_condition.norm(self._predicted))

    # moving on

    def advance(self, s: float) -> Convergence:
        """Predict the state at ``s`` from the mark and correct it.

        Raises:
            NoEquilibrium: No state was found there, or one off the path; the mark is the present state again.
        """
        system, mark = self.system, self.mark
        try:
            λ = predict(system.x, self._before, mark, s)
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
        if not self.is_arc:
            return
        chord = self._chord()
        if self.arc_condition.inner(chord, self.mark.tangent) < _STRAIGHT * self.arc_condition.norm(chord):
            raise NoEquilibrium("the path turns too sharply for this step")

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
        self.control.multiplier = self.asked.multiplier(s)
        self.control.target = self.asked.target(s, self.mark.s)

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
        moves = self.newton.relative_motion(other)
        other.axpby(1.0, -1.0, x)
        return moves

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
