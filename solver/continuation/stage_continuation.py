# SPDX-License-Identifier: MIT
"""Predictor-corrector continuation of one stage: prediction, correction, return after a failure."""

from petsc4py import PETSc

from annelid.solver.assembly.snapshot import Snapshot
from annelid.solver.continuation.newton import Convergence
from annelid.solver.continuation.predictor import predict
from annelid.solver.continuation.stage_curve import SAME, StageCurve
from annelid.solver.errors import NoEquilibrium

# A correction of the predicted state below this fraction of the part's size is never called a jump.
SMALL_MOVE = 0.02
_WELL_PREDICTED = 0.2  # corrections above this fraction of a move show that the tangents cannot be trusted
_STRAIGHT = 0.8  # cosine between tangent and chord below which an arc step is too long


class StageContinuation(StageCurve):
    """The states of a stage, continued from the last accepted one."""

    def target(self, step: float) -> float:
        """Position of the next state for a step: at most the next one at which a state is wanted.

        These are the end of the stage, and in a stage that takes time its equal steps and the corners of its
        waves, so that the states of successive cycles have the same phases.
        """
        s = self.last.s
        wanted = self.landings[self.landings > s + SAME * self.length]
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
