# SPDX-License-Identifier: MIT
"""Handing on the states of a path, and keeping what is to be said about it."""

from collections.abc import Callable

from annelid.solver.continuation.critical_points import Critical
from annelid.solver.continuation.newton import Convergence
from annelid.solver.continuation.stability import Modes
from annelid.solver.continuation.stage_continuation import Track
from annelid.solver.model.loads import Loads, describe
from annelid.solver.readout.evaluation import Arrival, Evaluation
from annelid.solver.records import Equilibrium, Outcome

Observer = Callable[[Equilibrium], None]
Progress = Callable[[str, float], None]


class Reporter:
    """Numbers the states, hands them to the observer, collects remarks.

    Attributes:
        remarks: Sentences for the outcome.
        first_critical: Loads and kind of the first critical point found in the stage under way.
    """

    def __init__(self, evaluation: Evaluation, observe: Observer | None, progress: Progress | None) -> None:
        self.evaluation = evaluation
        self.system = evaluation.system
        self.remarks: list[str] = []
        self.first_critical: tuple[Loads | None, str] = (None, "")
        self._observe = observe
        self._progress = progress
        self._index = 0
        self._spent = 0
        self._first_breakdown: str | None = None

    def emit(
        self,
        stage: str,
        share: float,
        convergence: Convergence,
        modes: Modes,
        critical: Critical | None = None,
        *,
        reached_by: str = "",
    ) -> None:
        """Hand on the present state, whose fields have been read; collective.

        Args:
            stage: Stage name.
            share: Stage parameter.
            convergence: How it was reached.
            modes: Its unstable modes.
            critical: The critical point that it is, if it is one.
            reached_by: ``"jump"`` or ``"branch"`` if it does not go on from the state before.
        """
        arrival = Arrival(
            self._index,
            stage,
            share,
            iterations=convergence.iterations,
            residual=convergence.residual,
            factorisations=self.system.count.factorisations - self._spent,
            unstable_modes=modes.given,
            unstable_modes_controlled=modes.controlled,
            critical=critical.kind if critical is not None else "",
            reached_by=reached_by,
        )
        mode = critical.mode.vector if critical is not None else None
        state = self.evaluation.equilibrium(arrival, mode)
        self._index += 1
        self._spent = self.system.count.factorisations
        if state is None:
            return
        self._note_breakdown(state)
        if self._observe is not None:
            self._observe(state)
        if self._progress is not None:
            self._progress(stage, share)

    def emit_critical(self, stage: str, share: float, critical: Critical, before: Modes) -> None:
        """Hand on a critical state, which is the present one, and remark on it."""
        self.evaluation.read_fields()
        self.emit(stage, share, critical.convergence, before, critical)
        together = f", {critical.modes} modes together" if critical.modes > 1 else ""
        self.remarks.append(f"{critical.kind} at {self.now()}{together}")
        if self.first_critical[0] is None:
            self.first_critical = (self.system.loads, critical.kind)

    def now(self) -> str:
        """The present loads in words."""
        assert self.system.loads is not None
        return describe(self.system.loads)

    def outcome(self, kind: str, text: str, stage: str, share: float) -> Outcome:
        """The outcome of the path with all remarks; collective."""
        remarks = [*self.remarks, self.system.problem.comm.bcast(self._first_breakdown)]
        if not self.system.symmetric_tangent():
            remarks.append(
                "the pressure acts on a surface whose rim moves freely, so its tangent is not symmetric: the "
                "states are right, the counts of unstable modes are approximate"
            )
        return Outcome(kind, text, stage, share, tuple(remark for remark in remarks if remark))

    def stuck(self, track: Track, modes: Modes, smallest: float, why: str) -> Outcome:
        """Outcome of a path that finds no further state."""
        share = track.mark.s / track.length
        text = (
            f"no equilibrium found beyond {self.now()} (stage '{track.stage.name}' at {share:.4f}; step "
            f"floor {smallest:g} of the stage; {why})"
        )
        if modes.controlled == 0:
            text += "; the last state is stable, so a limit of the load is likely just ahead"
        return self.outcome("no equilibrium", text, track.stage.name, share)

    def unstable(self, track: Track, share: float, modes: Modes, located: bool) -> Outcome:
        """Outcome of a path that ends at a state which is unstable under the control in force."""
        n = modes.controlled
        where = self.remarks[-1] if located else f"at or before {self.now()}"
        text = f"lost stability: {where}; {n} unstable {'mode' if n == 1 else 'modes'} at {self.now()}"
        return self.outcome("lost stability", text, track.stage.name, share)

    def _note_breakdown(self, state: Equilibrium) -> None:
        margin = state.quantities.get("breakdown margin")
        if margin is not None and margin.value < 1 and self._first_breakdown is None:
            loads = ", ".join(f"{k} {v.value:.4g} {v.unit}" for k, v in state.loads.items() if v.value)
            self._first_breakdown = f"breakdown field exceeded from {loads or 'the start'} on"
