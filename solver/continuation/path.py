# SPDX-License-Identifier: MIT
"""Following a model through its stages, to an outcome."""

from collections.abc import Callable, Sequence
from dataclasses import replace

from mpi4py import MPI

from annelid.geometry.checks import one_of
from annelid.geometry.errors import AnnelidError, InvalidValue, checking
from annelid.solver.assembly.system import System
from annelid.solver.constraints.stage_checks import check_stages
from annelid.solver.continuation.flow_continuation import FlowContinuation
from annelid.solver.continuation.harmonic_watch import HarmonicWatch
from annelid.solver.continuation.initial_state import initial_state
from annelid.solver.continuation.margins import acting_loads, margins_ahead, margins_missed
from annelid.solver.continuation.newton import Newton
from annelid.solver.continuation.reported_states import Checkpoint, Observer, PathEnded
from annelid.solver.continuation.reporter import Reporter
from annelid.solver.continuation.stage_continuation import StageContinuation
from annelid.solver.continuation.step_control import StepControl
from annelid.solver.continuation.unstable_modes import count_modes
from annelid.solver.display import DisplayUnits
from annelid.solver.energy.problem import Problem
from annelid.solver.model.loads import Loads
from annelid.solver.model.model import Model
from annelid.solver.model.quantities import names_for
from annelid.solver.model.ramp import Ramp, ramp_of
from annelid.solver.model.scales import scales_of
from annelid.solver.model.stages import Stage, pressed_surfaces
from annelid.solver.model.stepping import NO_SEARCH, Stepping
from annelid.solver.readout.evaluation import Evaluation
from annelid.solver.readout.flow_values import FlowSample
from annelid.solver.records import Margin, Outcome


class Path:
    """The states of a model along its stages.

    Attributes:
        system: The equations; ``system.count`` tallies the work.
        evaluation: Turns the present state into an ``Equilibrium``.
        watch: Judges states against waves around the axis.

    Args:
        model: What is loaded.
        stages: How, one after another.
        stepping: How to step; by default as ``Stepping()``.
        units: For loads in sentences.
        comm: Communicator of the ranks.

    Raises:
        InvalidValue: A stage does not suit the model or the stepping.
    """

    def __init__(
        self,
        model: Model,
        stages: Sequence[Stage],
        *,
        stepping: Stepping | None = None,
        units: DisplayUnits | None = None,
        comm: MPI.Comm = MPI.COMM_WORLD,
    ) -> None:
        self.stages = tuple(stages)
        self.stepping = stepping or Stepping()
        self._units = units or DisplayUnits()
        if not self.stages:
            raise InvalidValue("at least one stage is needed", key="stages")
        if any(stage.torques or stage.twists for stage in self.stages):
            model = replace(model, twist=True)
        if any(stage.duration for stage in self.stages):
            model = replace(model, timed=True)
        check_stages(model, self.stages)
        pressed = pressed_surfaces(self.stages)
        if not set(pressed) <= set(model.pressed):
            model = replace(model, pressed=pressed)
        for stage in self.stages:
            with checking(f"stage '{stage.name}'"):
                self.stepping.check_control(stage.control)
                _check_reported(stage, model)
        self.problem = Problem(model, comm=comm)
        self.system = System(self.problem)
        self.evaluation = Evaluation(self.system, self_crossing=self.stepping.self_crossing)
        self.watch = HarmonicWatch(self.evaluation, self.stepping.harmonics)
        self.newton = Newton(self.system, scales_of(model), self.stepping.tolerance)

    def follow(
        self, *, observe: Observer | None = None, keep: Callable[[Checkpoint], None] | None = None
    ) -> Outcome:
        """Follow all stages; collective.

        Args:
            observe: Called on the first rank with every equilibrium as it is found.
            keep: Called with the unknowns of every state.

        Returns:
            How the path ended; states up to there have been observed.

        Raises:
            NoEquilibrium: Not even the unloaded state was found.
        """
        goes_on = self.stepping.beyond_instability == "follow"
        reporter = Reporter(self.evaluation, observe, self._units, self.watch, goes_on=goes_on, keep=keep)
        try:
            return self._follow(reporter)
        except (KeyboardInterrupt, AnnelidError):
            reporter.release()
            raise

    def _follow(self, reporter: Reporter) -> Outcome:
        convergence = initial_state(self.newton, self.evaluation, self.stages, reporter.remarks, self._units)
        modes = count_modes(self.newton)
        steps = StepControl(self.newton, self.stepping, reporter)
        try:
            reporter.emit(self.stages[0].name, 0.0, convergence, modes)
        except PathEnded as end:
            return end.outcome
        working = self._working_stage()
        margins: tuple[Margin, ...] = ()
        flow: FlowSample | None = None
        given: Loads | None = None  # of a flow
        for number, stage in enumerate(self.stages):
            ramp = ramp_of(stage, self.system.loads if given is None else given)
            reporter.begin_stage()
            self.evaluation.in_wave = bool(stage.waves)
            continuation = self._continuation(stage, ramp, flow)
            try:
                ended = steps.follow(continuation, modes)
                reporter.judge_last()
            except PathEnded as end:
                ended = end.outcome
            warnings: list[str] = []
            given = None
            if isinstance(continuation, FlowContinuation):
                flow, given, warnings = continuation.sample, continuation.given, continuation.warnings()
                reporter.remarks += warnings
            if isinstance(ended, Outcome):
                ended = replace(ended, remarks=(*ended.remarks, *warnings))
                if number > working:
                    return replace(ended, margins=margins, working_stage=self.stages[working].name)
                return replace(ended, margins=_missed(ended, reporter, ramp))
            modes = ended
            if number == working:
                margins = self._margins(modes.given + reporter.unstable_harmonics)
                reporter.skip_work()
        count = len(self.stages)
        text = f"reached: {'the one stage' if count == 1 else f'all {count} stages'}, at {reporter.now()}"
        outcome = reporter.outcome("reached", text, stage.name, 1.0)
        return replace(outcome, margins=margins, working_stage=self.stages[working].name)

    def _continuation(self, stage: Stage, ramp: Ramp, before: FlowSample | None) -> StageContinuation:
        if stage.control != "flow":
            return StageContinuation(self.newton, stage, ramp, self.evaluation.read_fields)
        flow = self.problem.model.flow
        assert flow is not None
        return FlowContinuation(self.newton, stage, ramp, self.evaluation, flow=flow, before=before)

    def _working_stage(self) -> int:
        """Number of the last stage at whose end a load acts, or of the last; loads that are found act."""
        loads, working = self.system.loads, -1
        for number, stage in enumerate(self.stages):
            loads = ramp_of(stage, loads).end
            if stage.control != "load" or acting_loads(loads):
                working = number
        return working % len(self.stages)

    def _margins(self, modes: int) -> tuple[Margin, ...]:
        """The margins of the present state, if they are requested."""
        furthest = self.stepping.seek_limit
        if furthest == NO_SEARCH:
            return ()
        return margins_ahead(self.newton, modes, furthest, self.evaluation, self._units, self.watch)


def _check_reported(stage: Stage, model: Model) -> None:
    """Check that the model reports the quantities at which a stage ends."""
    known = names_for(model.scope)
    for condition in stage.until:
        one_of("until.quantity", condition.quantity, known, what="a quantity that this model reports")


def _missed(outcome: Outcome, reporter: Reporter, ramp: Ramp) -> tuple[Margin, ...]:
    """Margins of an outcome short of the loads requested, to its stage's first critical point or its end."""
    loads, kind = reporter.first_critical
    if loads is None and outcome.kind == "self-contact":
        loads, kind = reporter.system.loads, outcome.kind
    return margins_missed(ramp, loads, kind, outcome.stage, reporter.passed, reporter.units)


def follow(
    model: Model,
    stages: Sequence[Stage],
    *,
    stepping: Stepping | None = None,
    units: DisplayUnits | None = None,
    observe: Observer | None = None,
) -> Outcome:
    """Follow a model through its stages; see ``Path``."""
    return Path(model, stages, stepping=stepping, units=units).follow(observe=observe)
