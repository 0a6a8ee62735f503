# SPDX-License-Identifier: MIT
"""Steps in time of a stage in which a fluid, a circuit or feeds answer to the part."""

from dataclasses import dataclass

import numpy as np

from annelid.solver.continuation.coupled_newton import CoupledNewton
from annelid.solver.continuation.newton import Convergence, Newton
from annelid.solver.continuation.stage_continuation import SAME, StageContinuation
from annelid.solver.errors import AnnelidError, NoEquilibrium
from annelid.solver.fluid.flow import Flow
from annelid.solver.fluid.integrator import (
    GAMMA,
    FlowState,
    first_stage,
    second_stage,
    starting_state,
)
from annelid.solver.fluid.integrator import Stage as InnerStage
from annelid.solver.fluid.validity import Validity
from annelid.solver.model.ramp import Ramp
from annelid.solver.model.stages import Stage
from annelid.solver.readout.evaluation import Evaluation
from annelid.solver.readout.flow_values import FlowSample, FlowValues


class FlowContinuation(StageContinuation):
    """The states of a stage over time, each from the last one by both stages of the time integrator.

    Attributes:
        coupled: Solver of the states.
        sample: Flow at the last accepted state.

    Args:
        newton: As in ``StageContinuation``.
        stage: As there.
        ramp: As there.
        evaluation: Reads the states.
        flow: What answers.
        before: Flow at the end of the stage before, if that had one too.
    """

    searches = False

    def __init__(
        self,
        newton: Newton,
        stage: Stage,
        ramp: Ramp,
        evaluation: Evaluation,
        *,
        flow: Flow,
        before: FlowSample | None,
    ) -> None:
        super().__init__(newton, stage, ramp, evaluation.read_fields)
        flow = flow.with_sources(lambda name: _StageVoltage(ramp, name))
        self.coupled = CoupledNewton(newton, flow)
        self._values = FlowValues(flow, period=_period(stage))
        self._evaluation = evaluation
        self._from = before
        self._worst = np.zeros(len(Validity._fields))

    def start(self) -> None:
        """Accept the present state; the flow goes on from the stage before, or starts."""
        if not self.system.factor_is_near:
            self.system.assemble_residual()
            self.system.factorise()
        coupled = self.coupled
        if self._from is None:
            y = coupled.flow.start(coupled.ports.present())
            state = starting_state(coupled.flow.system, y, coupled.ports.state(), self.ramp.start.time)
            self._from = coupled.sample(state)
        self._next = self._from
        self.accept(0.0)

    def accept(self, s: float) -> None:
        """Accept the present, factorised state."""
        self.sample = self._next
        if s > 0:
            self._worst = np.fmax(self._worst, self._values.validity(self.sample))
        self.last.state, self.last.s = self.system.snapshot(), s

    def advance(self, s: float) -> Convergence:
        """Make a step in time to ``s``.

        Raises:
            NoEquilibrium: No state was found there; the last accepted state is the present one again.
        """
        try:
            first, last, convergence = self._step(s)
            impossible = self.read_fields()
            if impossible is not None:
                raise impossible
        except AnnelidError as failure:
            self.go_back()
            if isinstance(failure, NoEquilibrium):
                raise
            raise NoEquilibrium(failure.message) from failure
        self._next = self._values.with_sums(self.sample, first, last)
        self._evaluation.flow = self._values.read(self._next)
        self._evaluation.flow_along = self._values.along(self._next)
        return convergence

    def _step(self, s: float) -> tuple[FlowSample, FlowSample, Convergence]:
        """Both stages of a step, and how they were reached."""
        coupled, start = self.coupled, self.sample
        before, width = self.last.s, s - self.last.s
        coupled.y = start.flow.unknowns
        one = first_stage(start.flow, width * self.ramp.duration)
        inner = coupled.solve(self.ramp.at(before + GAMMA * width), one)
        first = self._sampled(one)
        if not np.isclose(before, self._corners, rtol=0, atol=SAME).any():
            self._extrapolate(start)
        two = second_stage(start.flow, width * self.ramp.duration, first.flow)
        outer = coupled.solve(self.ramp.at(s), two)
        iterations = inner.iterations + outer.iterations
        return first, self._sampled(two), Convergence(iterations, max(inner.residual, outer.residual))

    def _sampled(self, stage: InnerStage) -> FlowSample:
        y, lumen = self.coupled.y, self.coupled.ports.state()
        stored = self.coupled.flow.system.stored(y, lumen.volumes, stage.time).value
        return self.coupled.sample(FlowState(stage.time, y, stored))

    def _extrapolate(self, start: FlowSample) -> None:
        """Guess the end of a step on the line through its start and its first stage."""
        x = self.system.x
        x.scale(1 / GAMMA)
        x.axpy(1 - 1 / GAMMA, self.last.state.x)
        self.coupled.y = start.flow.unknowns + (self.coupled.y - start.flow.unknowns) / GAMMA

    def warnings(self) -> list[str]:
        """Sentences on where the theory of the flow did not hold in this stage."""
        return Validity(*self._worst).warnings()

    def held_modes(self) -> int:
        """Unstable modes under given loads that are stable while volumes and charges are held."""
        return self.coupled.held_modes()


@dataclass(frozen=True)
class _StageVoltage:
    """Voltage of the source of an electrode that a stage gives."""

    ramp: Ramp
    electrode: str

    def value(self, t: float) -> float:
        """Voltage at a time since the first stage that takes time, kV."""
        s = (t - self.ramp.start.time) / self.ramp.duration
        return self.ramp.at(min(max(s, 0.0), 1.0)).voltages.get(self.electrode, 0.0)


def _period(stage: Stage) -> float:
    """Shortest time in which the loads of a stage repeat, s."""
    assert stage.duration is not None
    return min((wave.waveform.period for wave in stage.waves), default=stage.duration)
