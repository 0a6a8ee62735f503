# SPDX-License-Identifier: MIT
"""Following a model through its stages: steps, stability, critical points, outcome."""

from collections.abc import Sequence
from dataclasses import replace

import dolfinx_solver  # noqa: F401  (orders MPI ahead of the bindings)

import numpy as np
from mpi4py import MPI

from geometry.errors import InputError
from solver.beyond import BRANCH_STEP, Limit, arc_from, jump, limit_ahead, take_branch
from solver.critical import Critical, locate
from solver.errors import NoEquilibrium
from solver.evaluation import Evaluation
from solver.laying import balance_of_skin, in_words, lay
from solver.loads import Loads
from solver.margins import margins_ahead, margins_missed
from solver.model import Model
from solver.modes import SoftMode, softest_modes
from solver.motion import Motion, motion_of
from solver.newton import Convergence, Newton
from solver.problem import Problem
from solver.records import Outcome
from solver.reporter import Modes, Observer, Progress, Reporter
from solver.stage_checks import check_stages
from solver.stages import Stage
from solver.stepping import Stepping, scales_of
from solver.system import System
from solver.track import Track

_UNBALANCED = 0.02  # share of the size of a part by which one drawn under pressure may move to its balance
_SEARCH_BELOW = 1 / 16  # share of a full step below which a load-controlled stage looks for a limit ahead


class Path:
    """A model on its way through stages.

    Attributes:
        system: The equations; ``system.count`` tallies the work.
        evaluation: Turns the present state into an ``Equilibrium``.
    """

    def __init__(
        self,
        model: Model,
        stages: Sequence[Stage],
        *,
        stepping: Stepping | None = None,
        comm: MPI.Comm = MPI.COMM_WORLD,
    ) -> None:
        self.stages = tuple(stages)
        self.stepping = stepping or Stepping()
        if not self.stages:
            raise InputError("a case needs at least one stage", key="stages")
        check_stages(model, self.stages)
        self._check_branching()
        self.problem = Problem(model, comm=comm)
        self.system = System(self.problem)
        self.evaluation = Evaluation(self.system)
        self.newton = Newton(self.system, scales_of(model), self.stepping.tolerance)
        self._reporter = Reporter(self.evaluation, None, None)

    def follow(self, *, observe: Observer | None = None, progress: Progress | None = None) -> Outcome:
        """Follow all stages; collective.

        Args:
            observe: Called on the first rank with every equilibrium as it is found.
            progress: Called on the first rank with the stage and its parameter after every step.

        Returns:
            How the path ended; states up to there have been observed.

        Raises:
            NoEquilibrium: Not even the unloaded state was found.
        """
        self._reporter = Reporter(self.evaluation, observe, progress)
        convergence = self._first_state()
        modes = self._count(None)
        self._reporter.emit(self.stages[0].name, 0.0, convergence, modes)
        track = None
        for stage in self.stages:
            assert self.system.loads is not None
            motion = motion_of(stage, self.system.loads)
            self._reporter.first_critical = (None, "")
            track = Track(self.newton, stage, motion, self.evaluation.read_fields)
            ended = self._run_stage(track, modes)
            if isinstance(ended, Outcome):
                return self._with_missed(ended, motion)
            modes = ended
        assert track is not None
        stages = "the one stage" if len(self.stages) == 1 else f"all {len(self.stages)} stages"
        text = f"reached: {stages}, at {self._reporter.now()}"
        outcome = self._reporter.outcome("reached", text, track.stage.name, 1.0)
        furthest = self.stepping.seek_limit
        if furthest is None:
            return outcome
        loads = track.loads()
        margins = margins_ahead(self.newton, loads, modes.given, furthest, self.evaluation.read_fields)
        return replace(outcome, margins=margins)

    def _with_missed(self, outcome: Outcome, motion: Motion) -> Outcome:
        """An outcome short of the loads asked for, with margins to its stage's first critical point."""
        loads, kind = self._reporter.first_critical
        margins = margins_missed(motion, loads, kind, outcome.stage)
        return replace(outcome, margins=margins)

    def _check_branching(self) -> None:
        """A branch is followed by its loads, which a stage that holds volume or charge does not name."""
        held = [stage for stage in self.stages if stage.control in ("volume", "charge")]
        if held and self.stepping.beyond_instability == "branch":
            raise InputError(
                f"stage '{held[0].name}': beyond_instability = 'branch' follows the loads of a stage, which "
                f"under {held[0].control} control are found; give the loads and an arc (control = 'arc')",
                key="beyond_instability",
            )

    def _first_state(self) -> Convergence:
        """Find the state in which the path begins and read its fields."""
        model, first = self.problem.model, self._unloaded()
        if model.drawn_pressure is None:
            convergence = self.newton.solve(first)
        elif not model.laid:
            convergence = self.newton.settle_drawn(first)
            displacement = self.evaluation.displacement()
            moved = 0.0 if displacement is None else float(np.abs(displacement).max())
            moved = self.problem.comm.bcast(moved)
            self._check_balance(moved)
            self._reporter.remarks.append(
                f"as drawn, the part is in balance with its pressure to {moved:.2g} mm"
            )
        else:
            skin = balance_of_skin(model, self.problem.comm, self.newton.tolerance)
            self._check_balance(skin.moved)
            lay(self.system, skin)
            convergence = self.newton.solve(first)
            self._reporter.remarks.append(in_words(skin, convergence))
        self.evaluation.read_fields()
        return convergence

    def _check_balance(self, moved: float) -> None:
        """A body drawn under pressure must be in balance nearly as drawn."""
        pressure = self.problem.model.drawn_pressure
        assert pressure is not None
        if moved > _UNBALANCED * self.newton.scales.length:
            raise NoEquilibrium(
                f"the part as drawn is not in balance with the pressure of {pressure * 1e3:.4g} kPa: it "
                f"moves by {moved:.3g} mm; its natural stretch and that pressure do not belong together",
                residual=moved,
            )

    def _unloaded(self) -> Loads:
        """The loads of the first state, with an entry for every load that any stage moves."""
        drawn = self.problem.model.drawn_pressure
        return Loads(
            voltages=dict.fromkeys((e.name for e in self.problem.model.electrodes), 0.0),
            forces={name: 0.0 for stage in self.stages for name in stage.forces},
            displacements={name: 0.0 for stage in self.stages for name in stage.displacements},
            obstacles={c.name: c.position for c in self.problem.model.contacts},
            pressure=drawn or 0.0,
            natural=0.0 if self.problem.fields.natural and drawn is None else 1.0,
        )

    def _run_stage(self, track: Track, modes: Modes) -> Outcome | Modes:
        """Follow one stage; returns the modes of its last state, or the outcome if the path ends in it."""
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
        modes = self._count(track)
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
        modes = self._count(None)
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
        modes = self._count(arc)
        self._reporter.emit(track.stage.name, s / arc.length, convergence, modes, reached_by="branch")
        arc.accept(s)
        track.mark.s = track.length  # the stage ends on the branch
        floor = self.stepping.smallest * self.newton.scales.length
        return self._run_track(arc, modes, 3 * whole, floor, first=s)

    def _count(self, track: Track | None) -> Modes:
        """Factorise the present state and count its unstable modes.

        Sylvester's law on the bordered matrix: a state that is stable while a condition is held has one
        negative pivot more than constraint unknowns. The border's pivot is -(h + fᵀK⁻¹f) for a conjugate
        pair (volume, charge) and -gᵀK⁻¹g for a held displacement or opening.
        """
        self.system.factorise()
        self.newton.factorised = True
        given = self.system.unstable_modes()
        if track is None or track.control is None or track.is_arc:
            return Modes(given, given)
        if track.control.condition.conjugate:
            _, pivot = self.newton.border(track.control)
        else:
            pivot = self.newton.held_pivot(track.control)
        return Modes(given, given + (0 if pivot > 0 else -1))

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


def follow(
    model: Model,
    stages: Sequence[Stage],
    *,
    stepping: Stepping | None = None,
    observe: Observer | None = None,
    progress: Progress | None = None,
) -> Outcome:
    """Follow a model through its stages; see ``Path``."""
    return Path(model, stages, stepping=stepping).follow(observe=observe, progress=progress)
