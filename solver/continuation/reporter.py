# SPDX-License-Identifier: MIT
"""Passing on the states of a path, and collecting remarks and the outcome."""

from collections.abc import Callable

from annelid.solver.continuation.critical_points import CriticalState
from annelid.solver.continuation.newton import Convergence
from annelid.solver.continuation.stage_continuation import StageContinuation
from annelid.solver.continuation.unstable_modes import UnstableModes
from annelid.solver.display import DisplayUnits
from annelid.solver.errors import NoEquilibrium, SelfContact
from annelid.solver.model.limits_of_use import LIMITS_OF_USE
from annelid.solver.model.loads import Loads, describe
from annelid.solver.model.quantities import LIMITS
from annelid.solver.readout.evaluation import Evaluation, StateInfo
from annelid.solver.records import Equilibrium, Outcome

Observer = Callable[[Equilibrium], None]

_WHOLE = 1e-6  # of the natural stretch: what is missing is rounding


class Reporter:
    """Numbers the states, passes them to the observer, collects remarks.

    Attributes:
        evaluation: Reads the states.
        remarks: Sentences for the outcome.
        units: For numbers in sentences.
        first_critical: Loads and kind of the first critical point found in the present stage.
        passed: Loads of the first state of the present stage beyond each limit of the part, by limit; on the
            first rank.
    """

    def __init__(self, evaluation: Evaluation, observe: Observer | None, units: DisplayUnits) -> None:
        self.evaluation = evaluation
        self.system = evaluation.system
        self.remarks: list[str] = []
        self.begin_stage()
        self.units = units
        self._observe = observe
        self._index = 0
        self._spent = 0
        self._limits_passed: dict[str, str] = {}

    def begin_stage(self) -> None:
        """Forget what belongs to a stage."""
        self.first_critical: tuple[Loads | None, str] = (None, "")
        self.passed: dict[str, Loads] = {}

    def skip_work(self) -> None:
        """Leave the work done since the last state out of the next one."""
        self._spent = self.system.count.factorisations

    def emit(
        self,
        stage: str,
        parameter: float,
        convergence: Convergence,
        modes: UnstableModes,
        critical: CriticalState | None = None,
        *,
        reached_by: str = "",
    ) -> None:
        """Pass on the present state, whose fields have been read; collective.

        Args:
            stage: Stage name.
            parameter: Stage parameter.
            convergence: How it was reached.
            modes: Its unstable modes.
            critical: The critical point that it is, if it is one.
            reached_by: ``"jump"`` or ``"branch"`` if it does not continue the state before.
        """
        info = StateInfo(
            self._index,
            stage,
            parameter,
            iterations=convergence.iterations,
            residual=convergence.residual,
            factorisations=self.system.count.factorisations - self._spent,
            unstable_modes=modes.given,
            unstable_modes_controlled=modes.controlled,
            critical=critical.kind if critical is not None else "",
            reached_by=reached_by,
        )
        mode = critical.mode.vector if critical is not None else None
        state = self.evaluation.equilibrium(info, mode)
        self._index += 1
        self._spent = self.system.count.factorisations
        if state is None:
            return
        self._note_limits(state)
        if self._observe is not None:
            self._observe(state)

    def emit_critical(
        self, stage: str, parameter: float, critical: CriticalState, before: UnstableModes
    ) -> None:
        """Pass on a critical state, which is the present one, and remark on it."""
        self.evaluation.read_fields()
        self.emit(stage, parameter, critical.convergence, before, critical)
        together = f", {critical.modes} modes together" if critical.modes > 1 else ""
        self.remarks.append(f"{critical.kind} at {self.now()}{together}")
        if self.first_critical[0] is None:
            self.first_critical = (self.system.loads, critical.kind)

    def now(self) -> str:
        """The present loads in words, with the natural stretch while a stage applies it."""
        loads = self.system.loads
        text = describe(loads, self.units)
        in_part = 0 < loads.natural < 1 - _WHOLE
        if self.system.problem.model.timed:
            text += f" at {self.units.show('time', loads.time, 4)}"
        return f"{text}, {loads.natural:.3g} of the natural stretch" if in_part else text

    def outcome(self, kind: str, text: str, stage: str, parameter: float) -> Outcome:
        """The outcome of the path with all remarks; collective."""
        passed = self.system.problem.comm.bcast(self._limits_passed)
        remarks = [*self.remarks, *passed.values()]
        if not self.system.symmetric_tangent():
            remarks.append(
                "a pressure acts on a surface whose rim moves freely, so the tangent is not symmetric: the "
                "states are right, the numbers of unstable modes are approximate"
            )
        return Outcome(kind, text, stage, parameter, tuple(remark for remark in remarks if remark))

    def no_state(
        self, continuation: StageContinuation, modes: UnstableModes, smallest: float, failure: NoEquilibrium
    ) -> Outcome:
        """Outcome of a path on which no further state is found."""
        parameter, stage = continuation.last.s / continuation.length, continuation.stage.name
        why = failure.message
        if isinstance(failure, SelfContact):
            text = f"{why}, just beyond {self.now()}; contact of a part with itself is not modelled"
            return self.outcome("self-contact", text, stage, parameter)
        text = (
            f"no equilibrium found beyond {self.now()} (stage '{stage}' at {parameter:.4f}; smallest step "
            f"{smallest:g} of the stage; {why})"
        )
        if modes.controlled == 0:
            text += "; the last state is stable, so a limit of the load is likely just ahead"
        return self.outcome("no equilibrium", text, stage, parameter)

    def unstable(
        self, continuation: StageContinuation, parameter: float, modes: UnstableModes, located: bool
    ) -> Outcome:
        """Outcome of a path that ends at a state which is unstable under the control in force."""
        n = modes.controlled
        where = self.remarks[-1] if located else f"at or before {self.now()}"
        text = f"lost stability: {where}; {n} unstable {'mode' if n == 1 else 'modes'} at {self.now()}"
        return self.outcome("lost stability", text, continuation.stage.name, parameter)

    def _note_limits(self, state: Equilibrium) -> None:
        """Remark on the first states beyond what a real part or the model can do."""
        for kind, condition in LIMITS_OF_USE.items():
            measure = state.quantities.get(condition.quantity)
            if measure is not None and condition.beyond(measure.value) >= 0:
                self.passed.setdefault(kind, self.system.loads)
        for limit in LIMITS:
            name = limit.margin.name
            measure = state.quantities.get(name)
            if measure is not None and measure.value < 1 and name not in self._limits_passed:
                self._limits_passed[name] = f"{limit.exceeded} from {self.now()} on"
