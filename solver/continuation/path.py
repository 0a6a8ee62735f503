# SPDX-License-Identifier: MIT
"""Following a model through its stages, to an outcome."""

from collections.abc import Sequence
from dataclasses import replace

from mpi4py import MPI

from annelid.geometry.errors import InputError
from annelid.solver.assembly.stage_checks import check_stages
from annelid.solver.assembly.system import System
from annelid.solver.continuation.initial_state import first_state
from annelid.solver.continuation.margins import margins_ahead, margins_missed
from annelid.solver.continuation.newton import Newton
from annelid.solver.continuation.reporter import Observer, Progress, Reporter
from annelid.solver.continuation.stability import Modes, count_modes
from annelid.solver.continuation.stage_continuation import Track
from annelid.solver.continuation.step_control import Walk
from annelid.solver.energy.problem import Problem
from annelid.solver.model.model import Model
from annelid.solver.model.motion import Motion, motion_of
from annelid.solver.model.scales import scales_of
from annelid.solver.model.stages import Stage
from annelid.solver.model.stepping import Stepping
from annelid.solver.readout.evaluation import Evaluation
from annelid.solver.records import Outcome


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
        convergence = first_state(self.newton, self.evaluation, self.stages, self._reporter.remarks)
        modes = count_modes(self.newton)
        walk = Walk(self.newton, self.stepping, self._reporter)
        self._reporter.emit(self.stages[0].name, 0.0, convergence, modes)
        track = None
        for stage in self.stages:
            assert self.system.loads is not None
            motion = motion_of(stage, self.system.loads)
            self._reporter.first_critical = (None, "")
            track = Track(self.newton, stage, motion, self.evaluation.read_fields)
            ended = walk.stage(track, modes)
            if isinstance(ended, Outcome):
                return self._with_missed(ended, motion)
            modes = ended
        assert track is not None
        return self._reached(track, modes)

    def _reached(self, track: Track, modes: Modes) -> Outcome:
        """The outcome at the end of the last stage, with margins if they are asked for."""
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
