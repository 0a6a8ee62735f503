# SPDX-License-Identifier: MIT
"""Remarks on a path, and how it ended, in words."""

from annelid.solver.assembly.system import System
from annelid.solver.continuation.harmonic_watch import HarmonicWatch
from annelid.solver.continuation.stage_continuation import StageContinuation
from annelid.solver.continuation.unstable_modes import UnstableModes
from annelid.solver.display import DisplayUnits
from annelid.solver.errors import NoEquilibrium, SelfContact
from annelid.solver.model.limits_of_use import LIMITS_OF_USE
from annelid.solver.model.loads import Loads, describe
from annelid.solver.model.quantities import LIMITS
from annelid.solver.records import Equilibrium, Outcome

_WHOLE = 1e-6  # of the natural stretch: what is missing is rounding


class Outcomes:
    """Collects remarks on a path and words its outcome.

    Attributes:
        system: The equations and the present state.
        watch: Judges states against waves around the axis.
        units: For numbers in sentences.
        remarks: Sentences for the outcome.
        passed: Loads of the first state of the present stage beyond each limit of the part, by limit; on the
            first rank.

    Args:
        system: As above.
        watch: As above.
        units: As above.
    """

    def __init__(self, system: System, watch: HarmonicWatch, units: DisplayUnits) -> None:
        self.system = system
        self.watch = watch
        self.units = units
        self.remarks: list[str] = []
        self.passed: dict[str, Loads] = {}
        self._limits_passed: dict[str, str] = {}

    def now(self) -> str:
        """The present loads in words, with the natural stretch while a stage applies it."""
        return self._in_words(self.system.loads)

    def _in_words(self, loads: Loads) -> str:
        text = describe(loads, self.units)
        in_part = 0 < loads.natural < 1 - _WHOLE
        if self.system.problem.model.timed:
            text += f" at {self.units.show('time', loads.time, 4)}"
        return f"{text}, {loads.natural:.3g} of the natural stretch" if in_part else text

    def outcome(self, kind: str, text: str, stage: str, parameter: float) -> Outcome:
        """The outcome of the path with all remarks; collective."""
        passed = self.system.problem.comm.bcast(self._limits_passed)
        remarks = [*self.watch.remarks(), *self.remarks, *passed.values()]
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

    def folds(self, time: float, stage: str, parameter: float) -> Outcome:
        """Outcome of a path in a flow at whose last state a mode loses its stiffness at a time."""
        text = (
            f"{self.remarks[-1]}: after {self.units.show('time', time, 6)} there is no equilibrium nearby "
            "with these volumes and charges; the wall snaps there"
        )
        return self.outcome("limit point", text, stage, parameter)

    def unstable(
        self, continuation: StageContinuation, parameter: float, modes: UnstableModes, located: bool
    ) -> Outcome:
        """Outcome of a path that ends at a state which is unstable under the control in force."""
        n = modes.controlled
        where = self.remarks[-1] if located else f"at or before {self.now()}"
        text = f"lost stability: {where}; {n} unstable {'mode' if n == 1 else 'modes'} at {self.now()}"
        return self.outcome("lost stability", text, continuation.stage.name, parameter)

    def note_limits(self, state: Equilibrium, loads: Loads) -> None:
        """Remark on the first states beyond what a real part or the model can do."""
        for kind, condition in LIMITS_OF_USE.items():
            measure = state.quantities.get(condition.quantity)
            if measure is not None and condition.beyond(measure.value) >= 0:
                self.passed.setdefault(kind, loads)
        for limit in LIMITS:
            name = limit.margin.name
            measure = state.quantities.get(name)
            if measure is not None and measure.value < 1 and name not in self._limits_passed:
                self._limits_passed[name] = f"{limit.exceeded} from {self._in_words(loads)} on"
