# SPDX-License-Identifier: MIT
"""Step control along one stage: step lengths, stability, and decisions at critical points."""

from annelid.solver.assembly.system import Snapshot
from annelid.solver.continuation.branch_switching import BRANCH_STEP, jump, switch_branch
from annelid.solver.continuation.critical_points import CriticalState, locate
from annelid.solver.continuation.eigenmodes import Eigenmode, lowest_eigenmodes
from annelid.solver.continuation.flow_continuation import FlowContinuation
from annelid.solver.continuation.flow_turns import first_unstable, fold_behind
from annelid.solver.continuation.limit_search import CriticalAhead, arc_from, critical_ahead, has_arc
from annelid.solver.continuation.newton import Convergence, Newton
from annelid.solver.continuation.reporter import Reporter
from annelid.solver.continuation.stage_continuation import StageContinuation
from annelid.solver.continuation.stage_end import StageEnd
from annelid.solver.continuation.unstable_modes import UnstableModes, count_modes
from annelid.solver.errors import NoEquilibrium, SelfContact
from annelid.solver.model.stepping import Stepping
from annelid.solver.records import Outcome

MOST_BRANCHES = 10  # of a path; the branches of a bifurcation may lead back to it again and again
_MANY = 16  # steps of a stage in a flow, of which the smallest step is a share if it has more
_SEARCH_BELOW = 1 / 16  # fraction of a full step below which a load-controlled stage searches for a limit


class StepControl:
    """Steps along stages, passes on the states it finds and decides at critical points.

    Args:
        newton: Solver of the equations.
        stepping: How to step.
        reporter: Receives states and remarks.
    """

    def __init__(self, newton: Newton, stepping: Stepping, reporter: Reporter) -> None:
        self.newton = newton
        self.system = newton.system
        self.stepping = stepping
        self.evaluation = reporter.evaluation
        self._reporter = reporter
        self._branches = 0

    def follow(self, continuation: StageContinuation, modes: UnstableModes) -> Outcome | UnstableModes:
        """Follow one stage; collective.

        Args:
            continuation: The stage, from the present state on.
            modes: Modes of that state.

        Returns:
            The modes of the last state of the stage, or the outcome if the path ends in it.
        """
        policy = self.stepping.beyond_instability
        lost = continuation.stage.control == "load" and modes.given > 0 and policy != "follow"
        self._end = StageEnd(continuation.stage, self._reporter)
        if self._end.reached and not lost:
            self._pass_on(continuation, 0.0, Convergence(0, 0.0), modes, how=", already at its start")
            return modes
        continuation.start()
        if lost:
            # Only the control of the stage before stabilised this state.
            if policy != "jump":
                unstable = UnstableModes(modes.given, modes.given)
                return self._reporter.unstable(continuation, 0.0, unstable, False)
            jumped = self._jump(continuation, 0.0, lowest_eigenmodes(self.system, 2)[0])
            if isinstance(jumped, Outcome):
                return jumped
            modes = jumped
        whole = continuation.length / continuation.stage.steps
        smallest = self.stepping.smallest * continuation.length
        if isinstance(continuation, FlowContinuation):
            smallest = min(smallest, self.stepping.smallest * _MANY * whole)
        result = self._step_along(continuation, modes, whole, smallest)
        if not isinstance(result, Outcome):
            self._end.remark_missed()
        return result

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

    def _step_along(
        self,
        continuation: StageContinuation,
        modes: UnstableModes,
        whole: float,
        smallest: float,
        *,
        first: float | None = None,
    ) -> Outcome | UnstableModes:
        """Step from the last accepted state, at most ``whole`` and at least ``smallest`` at a time."""
        step, searched = first or whole, False
        while not self._is_done(continuation):
            s = continuation.last.s
            target = continuation.target(step)
            try:
                convergence = continuation.advance(target)
                target, convergence = self._end.shorten(continuation, target, convergence)
            except NoEquilibrium as failure:
                step = (target - s) / 2
                may_search = continuation.stage.control == "load" and has_arc(continuation)
                may_search = may_search and not isinstance(failure, SelfContact)
                if may_search and not searched and step < _SEARCH_BELOW * whole:
                    searched = True
                    ahead = self._past_limit(continuation, s, whole, modes)
                    if isinstance(ahead, Outcome):
                        return ahead
                    if ahead is not None:
                        modes, step, searched = ahead, whole, False
                if step < smallest:
                    if isinstance(continuation, FlowContinuation):
                        folded = self._fold_in_flow(continuation, 2 * step, modes)
                        if folded is not None:
                            return folded
                    return self._reporter.no_state(
                        continuation, modes, smallest / continuation.length, failure
                    )
                continue
            result = self._take(continuation, target, convergence, modes)
            if isinstance(result, Outcome):
                return result
            modes = result
            if convergence.iterations <= self.stepping.easy:
                step = min(2 * step, whole)
            searched = searched and step < whole
        return modes

    def _is_done(self, continuation: StageContinuation) -> bool:
        """Whether a stage is at its end: its length, or for an arc the loads that it names."""
        if continuation.is_arc and self.system.multiplier >= 1.0:
            return True
        return continuation.last.s >= continuation.length * (1 - 1e-9)

    def _take(
        self, continuation: StageContinuation, s: float, convergence: Convergence, before: UnstableModes
    ) -> Outcome | UnstableModes:
        """Take the present state as the next; returns its modes, or the outcome if the path ends here."""
        modes = count_modes(self.newton, continuation)
        if isinstance(continuation, FlowContinuation) and modes.controlled > before.controlled:
            return self._turn_in_flow(continuation, s, convergence, before, modes)
        located: list[CriticalState] = []
        changed = modes.given != before.given and continuation.searches
        if changed and continuation.control is None and has_arc(continuation):
            limit = self._look_back(continuation, s, before, modes)
            if isinstance(limit, UnstableModes):
                return limit
            if limit is not None and limit.critical.kind == "limit point":
                # The state at hand is beyond a fold: it is no continuation of the path.
                return self._at_limit(continuation, limit, s)
            located = [limit.critical] if limit is not None else []
            if limit is not None and self.stepping.beyond_instability == "branch":
                return self._branch(continuation, limit.arc, limit.critical)
        elif changed:
            located = self._locate(continuation, s, before, modes)
            branching = next(filter(self._leaves_along, located), None)
            if branching is not None and has_arc(continuation):
                return self._branch(continuation, continuation, branching)
        policy = self.stepping.beyond_instability
        jumps = policy == "jump" and continuation.control is None and continuation.searches
        if modes.controlled > 0 and jumps:
            mode = located[0].mode if located else lowest_eigenmodes(self.system, 2)[0]
            return self._jump(continuation, s, mode)
        parameter = s / continuation.length
        if modes.controlled > 0 and policy != "follow" and not continuation.is_arc:
            # No part is ever in this state: the path ends at the last one before it.
            return self._reporter.unstable(continuation, parameter, modes, bool(located))
        self._pass_on(continuation, s, convergence, modes)
        return modes

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

    def _branch(
        self, continuation: StageContinuation, located_on: StageContinuation, critical: CriticalState
    ) -> Outcome | UnstableModes:
        """Switch to the branch at a bifurcation and follow it until the loads of the stage are reached.

        Args:
            continuation: The stage; it ends on the branch.
            located_on: The continuation on which the bifurcation was located.
            critical: The bifurcation.
        """
        stage = continuation.stage.name
        self.system.restore(critical.state, factorise=True)
        located_on.start_at(critical.s)
        parameter = located_on.parameter_at(critical.s)
        if self._branches == MOST_BRANCHES:
            text = f"{self._reporter.remarks[-1]}; the path is followed along {MOST_BRANCHES} branches only"
            return self._reporter.outcome("bifurcation", text, stage, parameter)
        self._branches += 1
        arc = arc_from(continuation, parameter)
        arc.start()
        whole = BRANCH_STEP * self.newton.scales.length
        try:
            s, convergence = switch_branch(arc, critical, whole)
        except NoEquilibrium as failure:
            text = f"{self._reporter.remarks[-1]}; no state was found on the branch ({failure.message})"
            return self._reporter.outcome("bifurcation", text, stage, parameter)
        self._reporter.remarks.append("the path continues along the branch")
        modes = count_modes(self.newton, arc)
        self._end.read()
        self._pass_on(arc, s, convergence, modes, reached_by="branch")
        continuation.finish()
        smallest = self.stepping.smallest * self.newton.scales.length
        return self._step_along(arc, modes, 3 * whole, smallest, first=s)

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
