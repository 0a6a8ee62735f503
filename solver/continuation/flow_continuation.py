# SPDX-License-Identifier: MIT
"""Steps in time of a stage in which a fluid, a circuit or feeds answer to the part."""

import math
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from petsc4py import PETSc

from annelid.geometry.body import FloatArray
from annelid.solver.assembly.snapshot import Snapshot
from annelid.solver.continuation.coupled_newton import CoupledNewton
from annelid.solver.continuation.newton import Convergence, Newton
from annelid.solver.continuation.stage_continuation import SAME, SMALL_MOVE, StageContinuation
from annelid.solver.errors import AnnelidError, NoEquilibrium
from annelid.solver.fluid.flow import Flow
from annelid.solver.fluid.integrator import GAMMA, first_stage, second_stage
from annelid.solver.fluid.validity import Validity
from annelid.solver.model.ramp import Ramp
from annelid.solver.model.stages import Stage
from annelid.solver.readout.evaluation import Evaluation
from annelid.solver.readout.flow_values import FlowSample, FlowValues

ANYWHERE = math.inf, math.inf
_SHORT = 1 / 64  # of a step: behind a corner of the loads shorter steps may move the part far


class FlowContinuation(StageContinuation):
    """The states of a stage over time, each from the last one by both stages of the time integrator.

    Attributes:
        coupled: Solver of the states.
        sample: Flow at the last accepted state; ``None`` before the first flow.
        given: Loads that the stage gives at the present state: an electrode that is fed has another voltage
            than its source.
        before: Position and state of the accepted state before the last one.

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
        self.sample, self._next = before, before
        self.given = ramp.start
        self.before: tuple[float, Snapshot] | None = None
        self._worst = np.zeros(len(Validity._fields))
        self._sudden: dict[float, float] = {}  # short steps by their start in which the part moves far
        # Both stages of the last accepted step, and of the last one made: they predict the next step.
        self._stages: list[_Place] = []
        self._next_stages: list[_Place] = []

    def start(self) -> None:
        """Accept the present state; the flow goes on from the stage before, or starts."""
        if not self.system.factor_is_near:
            self.system.assemble_residual()
            self.system.factorise()
        coupled = self.coupled
        if self._next is None:
            coupled.y = coupled.flow.start(coupled.ports.present())
            self._next = coupled.sample(self.ramp.start.time)
        self.accept(0.0)

    def accept(self, s: float) -> None:
        """Accept the present, factorised state."""
        self._keep(s)
        if s > self.last.s:
            self.before = self.last.s, self.last.state
        self.last.state, self.last.s = self.system.snapshot(), s

    def finish(self) -> None:
        """End the stage at the present state."""
        self._keep(self.length)
        super().finish()

    def _keep(self, s: float) -> None:
        """Take the flow of the present state as that of the last accepted one."""
        self.sample, self._stages = self._next, self._next_stages
        if s > 0 and self.sample is not None:
            self._worst = np.fmax(self._worst, self._values.validity(self.sample))

    def advance(self, s: float) -> Convergence:
        """Make a step in time to ``s``.

        Raises:
            NoEquilibrium: No state was found there; the last accepted state is the present one again.
        """
        try:
            first, last, convergence = self._step(s)
        except AnnelidError as failure:
            self.go_back()
            if isinstance(failure, NoEquilibrium):
                raise
            raise NoEquilibrium(failure.message) from failure
        assert self.sample is not None
        self._take(self._values.with_sums(self.sample, first, last), s)
        return convergence

    def solve_between(self, s: float, *_: tuple[float, Snapshot]) -> Convergence:
        """State at ``s``, by a step from the last accepted state; the states on both sides are not used.

        Raises:
            NoEquilibrium: No state was found there; the last accepted state is the present one again.
        """
        self.go_back()
        return self.advance(s)

    def settle(self, s: float, *_: Snapshot) -> None:
        """Make the state found at ``s`` the present one, with its flow, and read its fields."""
        self.go_back()
        if s > self.last.s:
            self.advance(s)
            return
        assert self.sample is not None
        self._take(self.sample, s)
        self.read_fields()

    def _take(self, sample: FlowSample, s: float) -> None:
        """Take a flow as that of the present state, and read its values."""
        self._next, self.given = sample, self.ramp.at(s)
        self._evaluation.flow = self._values.read(sample)
        self._evaluation.flow_along = self._values.along(sample)

    def _step(self, s: float) -> tuple[FlowSample, FlowSample, Convergence]:
        """Both stages of a step, and how they were reached."""
        coupled, start = self.coupled, self.sample
        assert start is not None
        before, width = self.last.s, s - self.last.s
        smooth = not np.isclose(before, self._corners, rtol=0, atol=SAME).any()
        begin = _Place(before, self.last.state.x, start.flow.unknowns)
        between = before + GAMMA * width
        coupled.y = begin.y
        if smooth and self._stages:
            self._extrapolate([*self._stages[-2:], begin][-3:], between)
        one = first_stage(start.flow, width * self.ramp.duration)
        inner = coupled.solve(self.ramp.at(between), one)
        first, middle = coupled.sample(one.time), _Place(between, self.system.x.copy(), coupled.y)
        predicted = 0.0, 0.0  # behind a corner of the loads
        self.last.state.x.copy(self._predicted)
        if smooth:
            self._extrapolate([*self._stages[-1:], begin, middle], s)
            predicted = self._moves(self.last.state.x)
            self.system.x.copy(self._predicted)
        two = second_stage(start.flow, width * self.ramp.duration, first.flow)
        outer = coupled.solve(self.ramp.at(s), two)
        self._next_stages = [begin, middle]
        if not smooth and width < _SHORT / self.stage.steps and self._moves(self._predicted)[1] > SMALL_MOVE:
            self._sudden[before] = width
            predicted = ANYWHERE
        self._refuse_jump(predicted)
        iterations = inner.iterations + outer.iterations
        return first, coupled.sample(two.time), Convergence(iterations, max(inner.residual, outer.residual))

    def _extrapolate(self, places: "list[_Place]", s: float) -> None:
        """Guess the state at ``s`` on the line or parabola through two or three others."""
        at = np.array([place.s for place in places])
        weights = [float(np.prod(np.delete(s - at, i) / np.delete(at[i] - at, i))) for i in range(len(at))]
        x = self.system.x
        x.set(0.0)
        x.maxpy(weights, [place.x for place in places])
        self.coupled.y = np.asarray(weights @ np.array([place.y for place in places]))

    def warnings(self) -> list[str]:
        """Sentences on where the theory of the flow did not hold in this stage, or the part moved at once."""
        texts = Validity(*self._worst).warnings()
        for s, width in self._sudden.items():
            start, duration = self.ramp.start.time + s * self.ramp.duration, width * self.ramp.duration
            texts.append(
                f"at {start:.6g} s the part moves by more than {100 * SMALL_MOVE:g} % of its size within "
                f"{duration:.2g} s, where the loads have a corner: a flow that evens out at once, or a snap"
            )
        return texts

    def held_modes(self) -> int:
        """Unstable modes under given loads that are stable while volumes and charges are held."""
        return self.coupled.held_modes()


class _Place(NamedTuple):
    """Unknowns of the part and of the flow at a position along a stage."""

    s: float
    x: PETSc.Vec
    y: FloatArray


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
