# SPDX-License-Identifier: MIT
"""Following one stage: steps, stability, and what to do at critical points."""

from annelid.solver.continuation.critical_points import Critical, locate
from annelid.solver.continuation.eigenmodes import SoftMode, softest_modes
from annelid.solver.continuation.limit_search import (
    BRANCH_STEP,
    Limit,
    arc_from,
    jump,
    limit_ahead,
    take_branch,
)
from annelid.solver.continuation.newton import Convergence, Newton
from annelid.solver.continuation.reporter import Reporter
from annelid.solver.continuation.stability import Modes, count_modes
from annelid.solver.continuation.stage_continuation import Track
from annelid.solver.errors import NoEquilibrium
from annelid.solver.model.loads import Loads
from annelid.solver.model.stepping import Stepping
from annelid.solver.records import Outcome

_SEARCH_BELOW = 1 / 16  # share of a full step below which a load-controlled stage looks for a limit ahead


class Walk:
    """Steps along stages, hands on the states it finds and decides at critical points.

    Args:
        newton: Solver of the equations.
        stepping: How to step.
        reporter: Takes states and remarks.
    """

    def __init__(self, newton: Newton, stepping: Stepping, reporter: Reporter) -> None:
        self.newton = newton
        self.system = newton.system
        self.stepping = stepping
        self.evaluation = reporter.evaluation
        self._reporter = reporter

    def stage(self, track: Track, modes: Modes) -> Outcome | Modes:
        """Follow one stage; collective.

        Args:
            track: The stage, from the present state on.
            modes: Modes of that state.

        Returns:
            The modes of the last state of the stage, or the outcome if the path ends in it.
        """
        track.start()
        policy = self.stepping.beyond_instability
        if track.stage.control == "load" and modes.given > 0 and policy != "follow":
            # Only the control of the stage before held this state.
            if policy != "jump":
                return self._reporter.unstable(track, 0.0, Modes(modes.given, modes.given), False)
            jumped = self._jump(track, 0.0, softest_modes(self.system, 2)[0])
            if isinstance(jumped, Outcome):
                return jumped
            modes = jumped
        floor = self.stepping.smallest * track.length
        return self._run_track(track, modes, track.length / track.stage.steps, floor)

    def _run_track(
        self, track: Track, modes: Modes, whole: float, floor: float, *, first: float | None = None
    ) -> Outcome | Modes:
        """Step along a track from its mark, at most ``whole`` and at least ``floor`` at a time."""
        step, searched = first or whole, False
        while not self._done(track):
            s = track.mark.s
            target = s + step if s + step < track.length * (1 - 1e-9) else track.length
            try:
                convergence = track.advance(target)
            except NoEquilibrium as failure:
                step = (target - s) / 2
                if track.stage.control == "load" and step < _SEARCH_BELOW * whole and not searched:
                    searched = True
                    ahead = self._past_limit(track, s, whole, modes)
                    if isinstance(ahead, Outcome):
                        return ahead
                    if ahead is not None:
                        modes, step, searched = ahead, whole, False
                if step < floor:
                    return self._reporter.stuck(track, modes, self.stepping.smallest, failure.message)
                continue
            ended = self._arrive(track, target, convergence, modes)
            if isinstance(ended, Outcome):
                return ended
            modes = ended
            if convergence.iterations <= self.stepping.easy:
                step = min(2 * step, whole)
            searched = searched and step < whole
        return modes

    def _done(self, track: Track) -> bool:
        """Whether a track is at its end: its length, or for an arc the loads its stage names."""
        if track.is_arc and track.control is not None and track.control.λ >= 1.0:
            return True
        return track.mark.s >= track.length * (1 - 1e-9)

    def _arrive(self, track: Track, s: float, convergence: Convergence, before: Modes) -> Outcome | Modes:
        """Take the present state as the next; returns its modes, or the outcome if the path ends here."""
        modes = count_modes(self.newton, track)
        found: list[Critical] = []
        if modes.given != before.given and track.control is None:
            limit = self._look_back(track, s, before, modes)
            if limit is not None and limit.critical.kind == "limit point":
                # The state at hand lies beyond a fold: it is no continuation of the path.
                return self._at_limit(track, limit, s)
            found = [limit.critical] if limit is not None else []
            if limit is not None and self.stepping.beyond_instability == "branch":
                return self._branch(track, limit.arc, limit.critical)
        elif modes.given != before.given:
            found = self._locate(track, s, before, modes)
            turn = next(filter(self._turns_off, found), None)
            if turn is not None:
                return self._branch(track, track, turn)
        policy = self.stepping.beyond_instability
        if modes.controlled > 0 and policy == "jump" and track.control is None:
            mode = found[0].mode if found else softest_modes(self.system, 2)[0]
            return self._jump(track, s, mode)
        self._reporter.emit(track.stage.name, s / track.length, convergence, modes)
        if modes.controlled > 0 and policy != "follow" and not track.is_arc:
            return self._reporter.unstable(track, s / track.length, modes, bool(found))
        track.accept(s)
        return modes

    def _turns_off(self, critical: Critical) -> bool:
        return self.stepping.beyond_instability == "branch" and critical.kind == "bifurcation"

    def _look_back(self, track: Track, s: float, before: Modes, after: Modes) -> Limit | None:
        """First critical point between the mark of a load-controlled track and the present state, on an arc.

        On return the present state is that at ``s`` again, unless a limit point was found.
        """
        system = self.system
        kept = system.x.copy()
        loads = track.loads()
        track.go_back()
        limit = limit_ahead(track, track.mark.s, before.given, furthest=s)
        if limit is not None:
            self._reporter.emit_critical(track.stage.name, limit.share, limit.critical, before)
            if limit.critical.kind == "limit point":
                return limit
        kept.copy(system.x)
        self._settle_at(loads)
        several = abs(after.given - before.given) > (limit.critical.modes if limit is not None else 0)
        if limit is not None and several and self.stepping.beyond_instability == "follow":
            self._locate(track, s, before, after, skip=1)
        return limit

    def _settle_at(self, loads: Loads) -> None:
        """Make a converged state, already in ``x``, the present one in every respect."""
        self.system.apply(loads)
        self.system.assemble_residual()
        self.evaluation.read_fields()
        self.system.factorise()
        self.newton.factorised = True

    def _past_limit(self, track: Track, s: float, whole: float, modes: Modes) -> Outcome | Modes | None:
        """Look for a limit ahead of a stage that cannot go on; ``None`` if there is none."""
        limit = limit_ahead(track, s, modes.given)
        if limit is None:
            track.go_back()
            return None
        self._reporter.emit_critical(track.stage.name, limit.share, limit.critical, modes)
        return self._at_limit(track, limit, s + whole)

    def _at_limit(self, track: Track, limit: Limit, beyond: float) -> Outcome | Modes:
        """The loads cannot rise further: jump to the state beyond, or end the path."""
        policy = self.stepping.beyond_instability
        if policy == "jump":
            return self._jump(track, min(1.0, max(beyond, limit.share)), limit.critical.mode)
        text = f"{self._reporter.remarks[-1]}: beyond it there is no equilibrium nearby"
        if policy == "follow":
            text += "; use control = 'arc' to follow the path through it"
        return self._reporter.outcome(limit.critical.kind, text, track.stage.name, limit.share)

    def _jump(self, track: Track, share: float, mode: SoftMode) -> Outcome | Modes:
        """Relax to the next stable state under the loads of ``share`` and go on from there."""
        left = self._reporter.now()
        try:
            landing = jump(track, share, mode, track.mark.tangent)
        except NoEquilibrium as failure:
            text = f"lost stability at {left}; no other stable state was found ({failure.message})"
            return self._reporter.outcome("lost stability", text, track.stage.name, share)
        modes = count_modes(self.newton)
        self._reporter.remarks.append(f"jump from {left} onto another stable state at {self._reporter.now()}")
        self._reporter.emit(track.stage.name, share, landing.convergence, modes, reached_by="jump")
        track.accept(share)
        return modes

    def _branch(self, track: Track, found_on: Track, critical: Critical) -> Outcome | Modes:
        """Turn onto the branch at a bifurcation and follow it until the loads of the stage are reached.

        Args:
            track: The stage under way; it ends on the branch.
            found_on: The track on which the bifurcation was located.
            critical: The bifurcation.
        """
        critical.restore(found_on)
        share = found_on.mark.s if found_on.control is None else found_on.control.λ
        arc = arc_from(track, share)
        arc.start()
        whole = BRANCH_STEP * self.newton.scales.length
        try:
            s, convergence = take_branch(arc, critical, whole)
        except NoEquilibrium as failure:
            text = f"{self._reporter.remarks[-1]}; the branch could not be entered ({failure.message})"
            return self._reporter.outcome("bifurcation", text, track.stage.name, share)
        self._reporter.remarks.append("the path goes on along the branch")
        modes = count_modes(self.newton, arc)
        self._reporter.emit(track.stage.name, s / arc.length, convergence, modes, reached_by="branch")
        arc.accept(s)
        track.mark.s = track.length  # the stage ends on the branch
        floor = self.stepping.smallest * self.newton.scales.length
        return self._run_track(arc, modes, 3 * whole, floor, first=s)

    def _locate(
        self, track: Track, s: float, before: Modes, after: Modes, *, skip: int = 0
    ) -> list[Critical]:
        """Locate and hand on the critical points between the mark and the present state of a track.

        Args:
            track: The track; its present state is the one at ``s`` again on return.
            s: Position of the present state.
            before: Modes at the mark.
            after: Modes of the present state.
            skip: How many of them have been handed on already.
        """
        kept = self.system.x.copy()
        loads, λ = track.loads(), track.control.λ if track.control is not None else 0.0
        found: list[Critical] = []
        try:
            found = locate(track, s, before.given, after.given)
            modes = before
            for number, critical in enumerate(found):
                critical.make_present(track)
                if number >= skip:
                    self._reporter.emit_critical(track.stage.name, critical.s / track.length, critical, modes)
                modes = modes.beyond(critical, after)
        except NoEquilibrium:
            pass  # the change stays bracketed by the states beside it
        kept.copy(self.system.x)
        if track.control is not None:
            track.control.λ = λ
            track.set_target(s)
        self._settle_at(loads)
        return found
