# SPDX-License-Identifier: MIT
"""Following a model through its stages: steps, stability, critical points, outcome."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

import dolfinx_solver  # noqa: F401  (orders MPI ahead of the bindings)

import numpy as np

from geometry.errors import InputError
from solver.beyond import jump, limit_ahead
from solver.critical import Critical, locate
from solver.errors import NoEquilibrium
from solver.evaluation import Evaluation
from solver.loads import Loads, describe
from solver.model import Model
from solver.modes import SoftMode, softest_modes
from solver.newton import Convergence, Newton, Scales, Tolerance
from solver.problem import Problem
from solver.records import Equilibrium, Outcome
from solver.stages import Stage, check_stages, motion_of
from solver.system import System
from solver.track import Track

BEYOND = ("stop", "follow", "jump")
_SEARCH_BELOW = 1 / 16  # share of a full step below which a load-controlled stage looks for a limit ahead

Observer = Callable[[Equilibrium], None]
Progress = Callable[[str, float], None]


@dataclass(frozen=True)
class Stepping:
    """How a path is stepped.

    Attributes:
        smallest: Step floor as a share of a stage; below it the path ends.
        easy: A step that takes at most this many iterations lets a halved step grow again.
        beyond_instability: ``"stop"`` ends the path at the first state with an unstable mode under the
            control in force, ``"follow"`` goes on and marks such states, ``"jump"`` moves under given
            loads to the next stable state, as a real part would.
        tolerance: Convergence tolerances.
    """

    smallest: float = 1e-4
    easy: int = 8
    beyond_instability: str = "stop"
    tolerance: Tolerance = field(default_factory=Tolerance)

    def __post_init__(self) -> None:
        if not 0 < self.smallest <= 1:
            raise InputError(f"stepping.smallest is {self.smallest}; it must lie in (0, 1]", key="smallest")
        if self.beyond_instability not in BEYOND:
            raise InputError(
                f"stepping.beyond_instability = '{self.beyond_instability}' is not one of: "
                f"{', '.join(BEYOND)}",
                key="beyond_instability",
            )


@dataclass(frozen=True)
class Modes:
    """Unstable modes of a state: under given loads, and under the control in force."""

    given: int
    controlled: int


class Path:
    """A model on its way through stages.

    Attributes:
        system: The equations; ``system.count`` tallies the work.
        evaluation: Turns the present state into an ``Equilibrium``.
    """

    def __init__(self, model: Model, stages: Sequence[Stage], *, stepping: Stepping | None = None) -> None:
        self.stages = tuple(stages)
        self.stepping = stepping or Stepping()
        if not self.stages:
            raise InputError("a case needs at least one stage", key="stages")
        check_stages(model, self.stages)
        self.problem = Problem(model)
        self.system = System(self.problem)
        self.evaluation = Evaluation(self.system)
        self.newton = Newton(self.system, scales_of(model), self.stepping.tolerance)
        self._index = 0
        self._spent = 0
        self._observe: Observer | None = None
        self._progress: Progress | None = None
        self._first_breakdown: str | None = None
        self._remarks: list[str] = []

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
        self._observe, self._progress = observe, progress
        convergence = self.newton.solve(self._unloaded())
        self.evaluation.read_fields()
        modes = self._count(None)
        self._emit(self.stages[0].name, 0.0, convergence, modes)
        for stage in self.stages:
            outcome = self._run_stage(stage, modes)
            if isinstance(outcome, Outcome):
                return outcome
            modes = outcome
        text = f"reached: all {len(self.stages)} stages, at {self._now()}"
        return Outcome("reached", text, self.stages[-1].name, 1.0, self._all_remarks())

    def _unloaded(self) -> Loads:
        """No load, with an entry for every load that any stage moves."""
        return Loads(
            voltages=dict.fromkeys((e.name for e in self.problem.model.electrodes), 0.0),
            forces={name: 0.0 for stage in self.stages for name in stage.forces},
            displacements={name: 0.0 for stage in self.stages for name in stage.displacements},
            obstacles={c.name: c.position for c in self.problem.model.contacts},
            natural=0.0 if self.problem.fields.natural else 1.0,
        )

    def _run_stage(self, stage: Stage, modes: Modes) -> Outcome | Modes:
        """Follow one stage; returns the modes of its last state, or the outcome if the path ends in it."""
        assert self.system.loads is not None
        track = Track(self.newton, stage, motion_of(stage, self.system.loads), self.evaluation.read_fields)
        track.start()
        if stage.control == "load" and modes.given > 0 and self.stepping.beyond_instability != "follow":
            released = self._released(track, modes)
            if isinstance(released, Outcome):
                return released
            modes = released
        whole = track.length / stage.steps
        step, searched = whole, False
        while not self._done(track):
            s = track.mark.s
            target = min(s + step, track.length)
            try:
                convergence = track.advance(target)
            except NoEquilibrium as failure:
                step = (target - s) / 2
                if stage.control == "load" and step < _SEARCH_BELOW * whole and not searched:
                    searched = True
                    ahead = self._past_limit(track, s, whole, modes)
                    if isinstance(ahead, Outcome):
                        return ahead
                    if ahead is not None:
                        modes, step, searched = ahead, whole, False
                if step < self.stepping.smallest * track.length:
                    return self._stuck(track, s, modes, failure.message)
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
        critical = self._locate(track, s, before, modes)
        policy = self.stepping.beyond_instability
        if modes.controlled > 0 and track.stage.control == "load" and policy == "jump":
            mode = critical.mode if critical is not None else softest_modes(self.system, 2)[0]
            return self._jump(track, s, mode)
        self._emit(track.stage.name, s / track.length, convergence, modes)
        if self._progress is not None and self.problem.comm.rank == 0:
            self._progress(track.stage.name, s / track.length)
        if modes.controlled > 0 and policy != "follow":
            return self._unstable(track, s, modes, critical)
        track.accept(s)
        return modes

    def _released(self, track: Track, modes: Modes) -> Outcome | Modes:
        """A load-controlled stage that sets out from a state which only the control before held."""
        if self.stepping.beyond_instability != "jump":
            return self._unstable(track, 0.0, Modes(modes.given, modes.given), None)
        return self._jump(track, 0.0, softest_modes(self.system, 2)[0])

    def _past_limit(self, track: Track, s: float, whole: float, modes: Modes) -> Outcome | Modes | None:
        """Look for a limit ahead of a stage that cannot go on; ``None`` if there is none."""
        limit = limit_ahead(track, s, modes.given)
        if limit is None:
            track.go_back()
            return None
        self._emit_critical(track, limit.critical, modes, share=limit.share)
        policy = self.stepping.beyond_instability
        if policy == "jump":
            return self._jump(track, min(1.0, max(s + whole, limit.share)), limit.critical.mode)
        text = f"{self._remarks[-1]}: beyond it there is no equilibrium nearby"
        if policy == "follow":
            text += "; use control = 'arc' to follow the path through it"
        return Outcome(limit.critical.kind, text, track.stage.name, limit.share, self._all_remarks())

    def _jump(self, track: Track, share: float, mode: SoftMode) -> Outcome | Modes:
        """Relax to the next stable state under the loads of ``share`` and go on from there."""
        left = self._now()
        try:
            landing = jump(track, share, mode, track.mark.tangent)
        except NoEquilibrium as failure:
            text = f"lost stability at {left}; no other stable state was found ({failure.message})"
            return Outcome("lost stability", text, track.stage.name, share, self._all_remarks())
        modes = self._count(None)
        self._remarks.append(f"jump from {left} onto another stable state at {self._now()}")
        self._emit(track.stage.name, share, landing.convergence, modes)
        track.accept(share)
        return modes

    def _count(self, track: Track | None) -> Modes:
        """Factorise the present state and count its unstable modes.

        The inertia of [K, -f; -fᵀ, -h] is that of K and of the pivot -(h + fᵀK⁻¹f): a state that is stable
        while volume or charge is held has one negative pivot more than pressure unknowns.
        """
        self.system.factorise()
        self.newton.factorised = True
        given = controlled = self.system.unstable_modes()
        control = track.control if track is not None else None
        if control is not None and control.condition.conjugate:
            _, pivot = self.newton.border(control)
            controlled += 0 if pivot > 0 else -1
        return Modes(given, controlled)

    def _locate(self, track: Track, s: float, before: Modes, now: Modes) -> Critical | None:
        """Locate and hand on the critical point between the mark and the present state, if there is one."""
        if before.given == now.given:
            return None
        system = self.system
        kept = system.vector()
        system.x.copy(kept)
        loads = track.loads()
        λ = track.control.λ if track.control is not None else 0.0
        critical = None
        try:
            critical = locate(track, s)
            self._emit_critical(track, critical, before)
        except NoEquilibrium:
            pass  # the change stays bracketed by the states beside it
        kept.copy(system.x)
        if track.control is not None:
            track.control.λ = λ
            track.set_target(s)
        system.apply(loads)
        system.assemble_residual()
        self.evaluation.read_fields()
        system.factorise()
        return critical

    def _emit_critical(
        self, track: Track, critical: Critical, before: Modes, share: float | None = None
    ) -> None:
        """Hand on a critical state, which is the present one."""
        self.evaluation.read_fields()
        if share is None:
            share = critical.s / track.length
        self._emit(track.stage.name, share, critical.convergence, before, critical=critical)
        self._remarks.append(f"{critical.kind} at {self._now()}")

    def _emit(
        self,
        stage: str,
        s: float,
        convergence: Convergence,
        modes: Modes,
        critical: Critical | None = None,
    ) -> None:
        """Hand the present state on."""
        assert self.system.loads is not None
        state = self.evaluation.equilibrium(
            self._index,
            stage,
            s,
            self.system.loads,
            iterations=convergence.iterations,
            residual=convergence.residual,
            factorisations=self.system.count.factorisations - self._spent,
            modes=(modes.given, modes.controlled),
            critical=critical.kind if critical is not None else "",
            mode=critical.mode.vector if critical is not None else None,
        )
        self._index += 1
        self._spent = self.system.count.factorisations
        if state is not None:
            self._note_breakdown(state)
            if self._observe is not None:
                self._observe(state)

    def _now(self) -> str:
        assert self.system.loads is not None
        return describe(self.system.loads)

    def _note_breakdown(self, state: Equilibrium) -> None:
        margin = state.quantities.get("breakdown margin")
        if margin is not None and margin.value < 1 and self._first_breakdown is None:
            loads = ", ".join(f"{k} {v.value:.4g} {v.unit}" for k, v in state.loads.items() if v.value)
            self._first_breakdown = f"breakdown field exceeded from {loads or 'the start'} on"

    def _all_remarks(self) -> tuple[str, ...]:
        remarks = [*self._remarks, self.problem.comm.bcast(self._first_breakdown)]
        if not self.system.symmetric_tangent():
            remarks.append(
                "the pressure acts on a surface whose rim moves freely, so its tangent is not symmetric: the "
                "states are right, the counts of unstable modes are not"
            )
        return tuple(remark for remark in remarks if remark)

    def _stuck(self, track: Track, s: float, modes: Modes, why: str) -> Outcome:
        share = s / track.length
        text = (
            f"no equilibrium found beyond {self._now()} (stage '{track.stage.name}' at {share:.4f}; step "
            f"floor {self.stepping.smallest:g} of the stage; {why})"
        )
        if modes.controlled == 0:
            text += "; the last state is stable, so a limit of the load is likely just ahead"
        return Outcome("no equilibrium", text, track.stage.name, share, self._all_remarks())

    def _unstable(self, track: Track, s: float, modes: Modes, critical: Critical | None) -> Outcome:
        """The path ends at a state that is unstable under the control in force."""
        n = modes.controlled
        where = self._remarks[-1] if critical is not None else f"before {self._now()}"
        text = f"lost stability: {where}; {n} unstable {'mode' if n == 1 else 'modes'} at {self._now()}"
        return Outcome("lost stability", text, track.stage.name, s / track.length, self._all_remarks())


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


def scales_of(model: Model) -> Scales:
    """Reference force μ L² and volume of the modelled piece, from its material and bounding box."""
    spans = np.ptp(model.body.points, axis=0)
    if model.axisymmetric:
        spans = np.array([2 * model.body.points[:, 0].max(), spans[1]])
    μ = max(part.material.initial_shear_modulus() for part in model.parts)
    size = float(np.prod(spans) ** (1 / len(spans)))
    return Scales(force=μ * size**2, volume=size**3 * 1e-3, length=size)
