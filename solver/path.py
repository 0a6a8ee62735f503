# SPDX-License-Identifier: MIT
"""Following a model through its stages: steps, tangent prediction, stability, outcome."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace

import dolfinx_solver  # noqa: F401  (orders MPI ahead of the bindings)

import numpy as np
from petsc4py import PETSc

from geometry.errors import InputError
from solver.errors import NoEquilibrium
from solver.evaluation import Evaluation
from solver.loads import Loads, describe
from solver.model import Model
from solver.newton import Convergence, Newton, Scales, Tolerance
from solver.problem import Problem
from solver.records import Equilibrium, Outcome
from solver.stages import Motion, Stage, check_stages, motion_of
from solver.system import System

# A correction of the predicted state below this share of the part's size is never called a jump.
_SMALL_MOVE = 0.02

Observer = Callable[[Equilibrium], None]
Progress = Callable[[str, float], None]


@dataclass(frozen=True)
class Stepping:
    """How a path is stepped.

    Attributes:
        smallest: Step floor as a share of a stage; below it the path ends.
        easy: A step that takes at most this many iterations lets a halved step grow again.
        beyond_instability: ``"stop"`` ends the path at the first state with an unstable mode under the
            control in force, ``"follow"`` goes on and marks such states.
        tolerance: Convergence tolerances.
    """

    smallest: float = 1e-4
    easy: int = 8
    beyond_instability: str = "stop"
    tolerance: Tolerance = field(default_factory=Tolerance)

    def __post_init__(self) -> None:
        if not 0 < self.smallest <= 1:
            raise InputError(f"stepping.smallest is {self.smallest}; it must lie in (0, 1]", key="smallest")
        if self.beyond_instability not in ("stop", "follow"):
            raise InputError("stepping.beyond_instability must be stop or follow", key="beyond_instability")


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
        self._tangent = self.system.vector()
        self._saved = self.system.vector()
        self._rate = self.system.vector()
        self._volume_tangent = self.system.vector()
        self._predicted = self.system.vector()
        self._index = 0
        self._spent = 0
        self._first_breakdown: str | None = None

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
        loads = self._unloaded()
        convergence = self.newton.solve(loads)
        self.evaluation.read_fields()
        self._accept(self.stages[0].name, 0.0, convergence, loads, None, observe)
        for stage in self.stages:
            volume = self.system.volume() if stage.control == "volume" else None
            motion = motion_of(stage, loads, volume)
            outcome, loads = self._run_stage(stage, motion, observe, progress)
            if outcome is not None:
                return outcome
        last = self.stages[-1]
        text = f"reached: all {len(self.stages)} stages, at {describe(loads)}"
        return Outcome("reached", text, last.name, 1.0, self._all_remarks())

    def _unloaded(self) -> Loads:
        """No load, with an entry for every load that any stage moves."""
        return Loads(
            voltages=dict.fromkeys((e.name for e in self.problem.model.electrodes), 0.0),
            forces={name: 0.0 for stage in self.stages for name in stage.forces},
            displacements={name: 0.0 for stage in self.stages for name in stage.displacements},
            natural=0.0 if self.problem.fields.natural else 1.0,
        )

    def _run_stage(
        self, stage: Stage, motion: Motion, observe: Observer | None, progress: Progress | None
    ) -> tuple[Outcome | None, Loads]:
        whole = 1.0 / stage.steps
        s, step, loads, why = 0.0, whole, motion.start, ""
        modes = 0
        while s < 1.0:
            step = min(step, 1.0 - s)
            target = 1.0 if 1.0 - (s + step) < 1e-9 else s + step
            try:
                convergence = self._step(motion, s, target, loads)
            except NoEquilibrium as failure:
                why = failure.message
                step /= 2
                if step < self.stepping.smallest:
                    return self._stuck(stage, s, loads, modes, why), loads
                continue
            before, loads = loads, replace(motion.at(target), pressure=self.newton.pressure)
            s = target
            modes = self._accept(stage.name, s, convergence, loads, motion, observe)
            if progress is not None and self.problem.comm.rank == 0:
                progress(stage.name, s)
            if modes > 0 and self.stepping.beyond_instability == "stop":
                return self._unstable(stage, s, before, loads, modes), loads
            if convergence.iterations <= self.stepping.easy:
                step = min(2 * step, whole)
        return None, loads

    def _step(self, motion: Motion, s: float, target: float, loads: Loads) -> Convergence:
        """Predict along the tangent, then correct; on failure the last state is restored."""
        x = self.system.x
        x.copy(self._saved)
        pressure = loads.pressure
        try:
            rate = self._predict(motion)
            x.axpy(target - s, self._tangent)
            predicted = self._distance(self._saved)
            x.copy(self._predicted)
            guess = motion.at(target)
            if motion.volumes is not None:
                guess = replace(guess, pressure=pressure + rate * (target - s))
            convergence = self.newton.solve(guess, volume=motion.volume_at(target))
            self._refuse_jump(predicted)
            return convergence
        except NoEquilibrium:
            self._saved.copy(x)
            self.system.apply(loads)
            self.newton.factorised = False
            raise

    def _distance(self, other: PETSc.Vec) -> float:
        """Root mean square of the change of displacement from another state, over the size of the part."""
        x = self.system.x
        other.axpby(1.0, -1.0, x)
        norm = self.system.block_norms(other)[0]
        other.axpby(1.0, -1.0, x)
        nodes = len(self.problem.model.body.points)
        return norm / (np.sqrt(nodes) * self.newton.scales.length)

    def _refuse_jump(self, predicted: float) -> None:
        """Newton may land on a distant branch beyond a limit point; such a state is no continuation.

        Raises:
            NoEquilibrium: The state lies far from the predicted one, or turns the part inside out.
        """
        corrected = self._distance(self._predicted)
        if corrected > max(_SMALL_MOVE, 0.5 * predicted):
            raise NoEquilibrium("the next state found lies far off the path", residual=corrected)
        if not self.evaluation.read_fields():
            raise NoEquilibrium("the next state found is turned inside out", residual=corrected)

    def _predict(self, motion: Motion) -> float:
        """Fill the tangent dx/ds at the present state; returns dP/ds under volume control, else 0."""
        system = self.system
        if not self.newton.factorised:
            system.factorise()
            self.newton.factorised = True
        rate = motion.rate if motion.volumes is None else replace(motion.rate, pressure=0.0)
        system.load_rate(rate, self._rate)
        system.solve(self._rate, self._tangent)
        if motion.volumes is None:
            return 0.0
        system.solve(self.newton.free(system.f), self._volume_tangent)
        wanted = (motion.volumes[1] - motion.volumes[0]) / self.problem.model.body.copies
        dP = (wanted - system.f.dot(self._tangent)) / system.f.dot(self._volume_tangent)
        self._tangent.axpy(dP, self._volume_tangent)
        return float(dP)

    def _accept(
        self,
        stage: str,
        s: float,
        convergence: Convergence,
        loads: Loads,
        motion: Motion | None,
        observe: Observer | None,
    ) -> int:
        """Count unstable modes, hand on the state; returns the modes under the control in force."""
        system = self.system
        system.factorise()
        self.newton.factorised = True
        modes = controlled = system.unstable_modes()
        if motion is not None and motion.volumes is not None:
            controlled += self._border_sign()
        state = self.evaluation.equilibrium(
            self._index,
            stage,
            s,
            loads,
            iterations=convergence.iterations,
            residual=convergence.residual,
            factorisations=system.count.factorisations - self._spent,
            modes=(modes, controlled),
        )
        self._index += 1
        self._spent = system.count.factorisations
        if state is not None:
            self._note_breakdown(state)
            if observe is not None:
                observe(state)
        return controlled

    def _border_sign(self) -> int:
        """Change of the count when the volume is held: -1 if the border itself is unstable, else 0.

        Under [K, -f; fᵀ, 0] the inertia gains a negative pivot if -fᵀK⁻¹f < 0; a stable state under volume
        control has pressure unknowns + 1 of them.
        """
        system = self.system
        system.solve(self.newton.free(system.f), self._volume_tangent)
        return 0 if system.f.dot(self._volume_tangent) > 0 else -1

    def _note_breakdown(self, state: Equilibrium) -> None:
        margin = state.quantities.get("breakdown margin")
        if margin is not None and margin.value < 1 and self._first_breakdown is None:
            loads = ", ".join(f"{k} {v.value:.4g} {v.unit}" for k, v in state.loads.items() if v.value)
            self._first_breakdown = f"breakdown field exceeded from {loads or 'the start'} on"

    def _all_remarks(self) -> tuple[str, ...]:
        remarks = [self.problem.comm.bcast(self._first_breakdown)]
        if not self.system.symmetric_tangent():
            remarks.append(
                "the pressure acts on a surface whose rim moves freely, so its tangent is not symmetric: the "
                "states are right, the counts of unstable modes are not"
            )
        return tuple(remark for remark in remarks if remark)

    def _stuck(self, stage: Stage, s: float, loads: Loads, modes: int, why: str) -> Outcome:
        text = (
            f"no equilibrium found beyond {describe(loads)} (stage '{stage.name}' at {s:.4f}; step floor "
            f"{self.stepping.smallest:g} of the stage; {why})"
        )
        if modes == 0:
            text += "; the last state is stable, so a limit of the load is likely just ahead"
        return Outcome("no equilibrium", text, stage.name, s, self._all_remarks())

    def _unstable(self, stage: Stage, s: float, before: Loads, loads: Loads, modes: int) -> Outcome:
        text = (
            f"lost stability between {describe(before)} and {describe(loads)}: there {modes} unstable "
            f"{'mode' if modes == 1 else 'modes'} (stage '{stage.name}' at {s:.4f})"
        )
        return Outcome("lost stability", text, stage.name, s, self._all_remarks())


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
