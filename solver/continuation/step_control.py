# SPDX-License-Identifier: MIT
"""Step control along one stage: step lengths, stability, and the branch to follow."""

from annelid.solver.continuation.branch_switching import BRANCH_STEP, switch_branch
from annelid.solver.continuation.critical_point_control import CriticalPointControl
from annelid.solver.continuation.critical_points import CriticalState
from annelid.solver.continuation.eigenmodes import lowest_eigenmodes
from annelid.solver.continuation.flow_continuation import FlowContinuation
from annelid.solver.continuation.limit_search import arc_from, has_arc
from annelid.solver.continuation.newton import Convergence
from annelid.solver.continuation.stage_continuation import StageContinuation
from annelid.solver.continuation.stage_end import StageEnd
from annelid.solver.continuation.unstable_modes import UnstableModes, count_modes
from annelid.solver.errors import NoEquilibrium, SelfContact
from annelid.solver.records import Outcome

MOST_BRANCHES = 10  # of a path; the branches of a bifurcation may lead back to it again and again
_MANY = 16  # steps of a stage in a flow, of which the smallest step is a share if it has more
_SEARCH_BELOW = 1 / 16  # fraction of a full step below which a load-controlled stage searches for a limit


class StepControl(CriticalPointControl):
    """Steps along stages, and passes on the states it finds."""

    _branches = 0  # that the path has followed

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
        whole = continuation.length * continuation.stage.regular_step
        smallest = self.stepping.smallest * continuation.length
        if isinstance(continuation, FlowContinuation):
            smallest = min(smallest, self.stepping.smallest * _MANY * whole)
        result = self._step_along(continuation, modes, whole, smallest)
        if not isinstance(result, Outcome):
            self._end.remark_missed()
        return result

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
                    return self._stuck(continuation, modes, step, smallest, failure)
                continue
            result = self._take(continuation, target, convergence, modes)
            if isinstance(result, Outcome):
                return result
            modes = result
            if convergence.iterations <= self.stepping.easy:
                step = min(2 * step, whole)
            searched = searched and step < whole
        return modes

    def _stuck(
        self,
        continuation: StageContinuation,
        modes: UnstableModes,
        step: float,
        smallest: float,
        failure: NoEquilibrium,
    ) -> Outcome:
        """The outcome of a path on which a step of the smallest size fails."""
        folded = None
        if isinstance(continuation, FlowContinuation):
            folded = self._fold_in_flow(continuation, 2 * step, modes)
        least = smallest / continuation.length
        return folded or self._reporter.no_state(continuation, modes, least, failure)

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
