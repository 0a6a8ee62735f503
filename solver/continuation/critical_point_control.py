# SPDX-License-Identifier: MIT
"""What a path does at critical points: locates them, jumps, goes on, or ends."""

from annelid.solver.assembly.snapshot import Snapshot
from annelid.solver.continuation.branch_switching import jump
from annelid.solver.continuation.critical_points import CriticalState, locate
from annelid.solver.continuation.eigenmodes import Eigenmode
from annelid.solver.continuation.flow_continuation import FlowContinuation
from annelid.solver.continuation.flow_turns import first_unstable, fold_behind
from annelid.solver.continuation.limit_search import CriticalAhead, critical_ahead
from annelid.solver.continuation.newton import Convergence, Newton
from annelid.solver.continuation.reporter import Reporter
from annelid.solver.continuation.stage_continuation import StageContinuation
from annelid.solver.continuation.stage_end import StageEnd
from annelid.solver.continuation.unstable_modes import UnstableModes, count_modes
from annelid.solver.errors import NoEquilibrium
from annelid.solver.model.stepping import Stepping
from annelid.solver.records import Outcome


class CriticalPointControl:
    """Passes on states, and decides at critical points.

    Args:
        newton: Solver of the equations.
        stepping: How to step.
        reporter: Receives states and remarks.
    """

    _end: StageEnd  # of the present stage

    def __init__(self, newton: Newton, stepping: Stepping, reporter: Reporter) -> None:
        self.newton = newton
        self.system = newton.system
        self.stepping = stepping
        self.evaluation = reporter.evaluation
        self._reporter = reporter

    def _pass_on(
        self,
        continuation: StageContinuation,
        s: float,
        convergence: Convergence,
        modes: UnstableModes,
        *,
        reached_by: str = "",
        how: str = "",
    ) -> None:
        """Pass on and accept the present state, which is the end of the stage if it meets a condition."""
        stage, ends = continuation.stage.name, self._end.reached
        parameter = 1.0 if ends else s / continuation.length
        at = continuation, s
        self._reporter.emit(stage, parameter, convergence, modes, at=at, reached_by=reached_by)
        if ends:
            self._end.remark_met(how)
            continuation.finish()
        else:
            continuation.accept(s)
            self._end.accept()

    def _turn_in_flow(
        self,
        continuation: FlowContinuation,
        s: float,
        convergence: Convergence,
        before: UnstableModes,
        after: UnstableModes,
    ) -> Outcome | UnstableModes:
        """Pass on the first unstable state of a step in time; the path ends there, unless it is to go on."""
        critical, modes = first_unstable(continuation, s, convergence, before, after)
        stage, parameter = continuation.stage.name, critical.s / continuation.length
        self._end.read()
        at = continuation, critical.s
        self._reporter.emit_critical(stage, parameter, critical, before, at)
        if self.stepping.beyond_instability != "follow":
            return self._reporter.unstable(continuation, parameter, modes, True)
        if self._end.reached:
            self._end.remark_met()
            continuation.finish()
        else:
            continuation.accept(critical.s)
            self._end.accept()
        return modes

    def _fold_in_flow(
        self, continuation: FlowContinuation, step: float, modes: UnstableModes
    ) -> Outcome | None:
        """The outcome of a path in time that ends because it folds back; ``None`` if it ends otherwise."""
        fold = fold_behind(continuation, step)
        if fold is None:
            return None
        critical, s = fold
        stage, parameter = continuation.stage.name, critical.s / continuation.length
        self._end.read()
        self._reporter.emit_critical(stage, parameter, critical, modes, (continuation, critical.s))
        return self._reporter.folds(continuation.ramp.at(s).time, stage, parameter)

    def _leaves_along(self, critical: CriticalState) -> bool:
        """Whether the path leaves a critical point along its branch."""
        return self.stepping.beyond_instability == "branch" and critical.kind == "bifurcation"

    def _look_back(
        self, continuation: StageContinuation, s: float, before: UnstableModes, after: UnstableModes
    ) -> CriticalAhead | UnstableModes | None:
        """First critical point between the last accepted and the present state under load control, on an arc.

        If the stage ends before that point, the modes at its end are returned. Otherwise the present state on
        return is that at ``s`` again, unless a limit point was found.
        """
        present = self.system.snapshot()
        continuation.go_back()
        limit = critical_ahead(continuation, continuation.last.s, before.given, furthest=s)
        if limit is not None:
            if self._ends_before(continuation, limit, before):
                return before
            at = continuation, limit.parameter
            self._reporter.emit_critical(continuation.stage.name, limit.parameter, limit.critical, before, at)
            if limit.critical.kind == "limit point":
                return limit
        self._settle_at(present)
        self._end.read()
        several = abs(after.given - before.given) > (limit.critical.modes if limit is not None else 0)
        if limit is not None and several and self.stepping.beyond_instability == "follow":
            self._locate(continuation, s, before, after, skip=1)
        return limit

    def _settle_at(self, state: Snapshot) -> None:
        """Make a converged state the present one in every respect."""
        self.system.restore(state, factorise=True)
        self.evaluation.read_fields()

    def _past_limit(
        self, continuation: StageContinuation, s: float, whole: float, modes: UnstableModes
    ) -> Outcome | UnstableModes | None:
        """Search for a limit ahead of a stage that finds no next state; ``None`` if there is none."""
        limit = critical_ahead(continuation, s, modes.given)
        if limit is None:
            continuation.go_back()
            return None
        if self._ends_before(continuation, limit, modes):
            return modes
        at = continuation, limit.parameter
        self._reporter.emit_critical(continuation.stage.name, limit.parameter, limit.critical, modes, at)
        return self._at_limit(continuation, limit, s + whole)

    def _ends_before(
        self, continuation: StageContinuation, limit: CriticalAhead, modes: UnstableModes
    ) -> bool:
        """End the stage before a critical point, the present state, if it meets a condition on the way."""
        if not continuation.stage.until:
            return False
        self.evaluation.read_fields()
        try:
            s, convergence = self._end.shorten(continuation, limit.parameter, limit.critical.convergence)
        except NoEquilibrium:
            s = limit.parameter
        if s < limit.parameter:
            self._pass_on(continuation, s, convergence, modes)
            return True
        self._settle_at(limit.critical.state)
        return False

    def _at_limit(
        self, continuation: StageContinuation, limit: CriticalAhead, beyond: float
    ) -> Outcome | UnstableModes:
        """The loads cannot rise further: jump to the state beyond, or end the path."""
        policy = self.stepping.beyond_instability
        if policy == "jump":
            parameter = min(1.0, max(beyond, limit.parameter))
            return self._jump(continuation, parameter, limit.critical.mode)
        text = f"{self._reporter.remarks[-1]}: beyond it there is no equilibrium nearby"
        if policy == "follow":
            text += "; use control = 'arc' to follow the path through it"
        return self._reporter.outcome(limit.critical.kind, text, continuation.stage.name, limit.parameter)

    def _jump(
        self, continuation: StageContinuation, parameter: float, mode: Eigenmode
    ) -> Outcome | UnstableModes:
        """Relax to the next stable state under the loads of ``parameter`` and continue from there."""
        stage, before = continuation.stage.name, self._reporter.now()
        try:
            relaxed = jump(continuation, parameter, mode, continuation.last.tangent)
        except NoEquilibrium as failure:
            text = f"lost stability at {before}; no other stable state was found ({failure.message})"
            return self._reporter.outcome("lost stability", text, stage, parameter)
        modes = count_modes(self.newton)
        after = self._reporter.now()
        self._reporter.remarks.append(f"jump from {before} to another stable state at {after}")
        self._end.read()
        passed = ", passed in the jump"
        self._pass_on(continuation, parameter, relaxed.convergence, modes, reached_by="jump", how=passed)
        return modes

    def _locate(
        self,
        continuation: StageContinuation,
        s: float,
        before: UnstableModes,
        after: UnstableModes,
        *,
        skip: int = 0,
    ) -> list[CriticalState]:
        """Locate and pass on the critical points between the last accepted and the present state.

        Args:
            continuation: The stage; its present state is the one at ``s`` again on return.
            s: Position of the present state.
            before: Modes at the last accepted state.
            after: Modes of the present state.
            skip: How many of them have been passed on already.
        """
        present = self.system.snapshot()
        located: list[CriticalState] = []
        try:
            located = locate(continuation, s, before.given, after.given)
            modes = before
            for number, critical in enumerate(located):
                self.system.restore(critical.state, factorise=True)
                if number >= skip:
                    parameter, at = critical.s / continuation.length, (continuation, critical.s)
                    self._reporter.emit_critical(continuation.stage.name, parameter, critical, modes, at)
                modes = modes.beyond(critical.kind, critical.modes, after)
        except NoEquilibrium:
            pass  # the change stays bracketed by the states beside it
        if continuation.control is not None:
            continuation.set_target(s)
        self._settle_at(present)
        return located
