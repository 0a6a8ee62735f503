# SPDX-License-Identifier: MIT
"""Passing on the states of a path, and collecting remarks and the outcome."""

from collections.abc import Callable, Iterable, Mapping
from dataclasses import replace

from petsc4py import PETSc

from annelid.solver.continuation.critical_points import CriticalState
from annelid.solver.continuation.harmonic_turns import Passed, first_turn
from annelid.solver.continuation.harmonic_watch import HarmonicWatch
from annelid.solver.continuation.newton import Convergence
from annelid.solver.continuation.outcomes import Outcomes
from annelid.solver.continuation.reported_states import Checkpoint, HeldState, Observer, PathEnded, with_modes
from annelid.solver.continuation.stage_continuation import StageContinuation
from annelid.solver.continuation.unstable_modes import UnstableModes
from annelid.solver.display import DisplayUnits
from annelid.solver.model.harmonic_words import has_folds
from annelid.solver.model.loads import Loads
from annelid.solver.readout.evaluation import Evaluation, StateInfo
from annelid.solver.records import Equilibrium

_MOST_TURNS = 6  # located between two states that are judged


class Reporter(Outcomes):
    """Numbers the states and passes them to the observer, once they are judged by ``watch``.

    Attributes:
        evaluation: Reads the states.
        first_critical: Loads and kind of the first critical point found in the present stage.

    Args:
        evaluation: As above.
        observe: Called with every state.
        units: For numbers in sentences.
        watch: Judges states against waves around the axis.
        goes_on: Whether the path goes on where a harmonic is unstable.
        keep: Called with every state as it is found, before it is judged.
    """

    def __init__(
        self,
        evaluation: Evaluation,
        observe: Observer | None,
        units: DisplayUnits,
        watch: HarmonicWatch,
        *,
        goes_on: bool,
        keep: Callable[[Checkpoint], None] | None = None,
    ) -> None:
        super().__init__(evaluation.system, watch, units)
        self._keep = keep
        self.evaluation = evaluation
        self.begin_stage()
        self._observe = observe
        self._goes_on = goes_on
        self._index = 0
        self._spent = 0
        self._held: list[HeldState] = []
        self._judged: Passed | None = None
        self._unstable: dict[int, int] = {}
        self._turned: dict[int, int] = {}

    @property
    def unstable_harmonics(self) -> int:
        """Unstable modes with waves around the axis of the state judged last."""
        return sum(self._unstable.values())

    def begin_stage(self) -> None:
        """Forget what belongs to a stage."""
        self.first_critical: tuple[Loads | None, str] = (None, "")
        self.passed = {}

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
        at: tuple[StageContinuation, float] | None = None,
        reached_by: str = "",
    ) -> None:
        """Pass on the present state, whose fields have been read; collective.

        Args:
            stage: Stage name.
            parameter: Stage parameter.
            convergence: How it was reached.
            modes: Its unstable modes.
            critical: The critical point that it is, if it is one.
            at: The stage and the position along it, ``None`` of the first state.
            reached_by: ``"jump"`` or ``"branch"`` if it does not continue the state before.

        Raises:
            PathEnded: It or a state before it is unstable with waves around the axis.
        """
        kind, mode = ("", None) if critical is None else (critical.kind, critical.mode.vector)
        if self._keep is not None:
            self._keep(Checkpoint(stage, parameter, kind, self.system.snapshot(), *(at or (None, 0.0))))
        state = self._record(stage, parameter, convergence, modes, kind, reached_by, mode)
        if not self.watch.acts:
            self._pass_on(state, self.system.loads)
            return
        continuation, s = at or (None, 0.0)
        passed = Passed(continuation, s, self.system.snapshot(), bool(reached_by))
        due = self.watch.is_due(important=parameter >= 1.0 or critical is not None, held=len(self._held) + 1)
        unstable = {} if due else self.watch.still(self._unstable)
        self._held.append(HeldState(passed, state, stage, parameter, modes, len(self.remarks), unstable))
        if due or self._new(unstable) or (self._unstable and not unstable):
            self._judge()

    def emit_critical(
        self,
        stage: str,
        parameter: float,
        critical: CriticalState,
        before: UnstableModes,
        at: tuple[StageContinuation, float],
    ) -> None:
        """Pass on a critical state, which is the present one, and remark on it."""
        self.evaluation.read_fields()
        self.emit(stage, parameter, critical.convergence, before, critical, at=at)
        together = f", {critical.modes} modes together" if critical.modes > 1 else ""
        self.remarks.append(f"{critical.kind} at {self.now()}{together}")
        if self.first_critical[0] is None:
            self.first_critical = (self.system.loads, critical.kind)

    def release(self) -> None:
        """Pass on the states that are held back."""
        while self._held:
            self._release_one()

    def judge_last(self) -> None:
        """Judge the last state of a path, unless that is done; any state may be the present one.

        Raises:
            PathEnded: It or a state before it is unstable with waves around the axis.
        """
        if self._held:
            self.system.restore(self._held[-1].passed.state)
            self.system.read_x()
            self.evaluation.read_fields()
            self._judge()

    def _record(
        self,
        stage: str,
        parameter: float,
        convergence: Convergence,
        modes: UnstableModes,
        kind: str,
        reached_by: str = "",
        mode: PETSc.Vec | None = None,
    ) -> Equilibrium | None:
        """The present state as a record, on the first rank."""
        info = StateInfo(
            self._index,
            stage,
            parameter,
            iterations=convergence.iterations,
            residual=convergence.residual,
            factorisations=self.system.count.factorisations - self._spent,
            unstable_modes=modes.given,
            unstable_modes_controlled=modes.controlled,
            critical=kind,
            reached_by=reached_by,
        )
        self._spent = self.system.count.factorisations
        return self.evaluation.equilibrium(info, mode)

    def _pass_on(self, state: Equilibrium | None, loads: Loads, harmonics: int = 0) -> None:
        """Number a state and pass it on, with more unstable modes than it was found with."""
        index, self._index = self._index, self._index + 1
        if state is None:
            return
        state = with_modes(replace(state, index=index), harmonics)
        self.note_limits(state, loads)
        if self._observe is not None:
            self._observe(state)

    def _judge(self) -> None:
        """Judge the present state, the last one held, and pass on those that are held."""
        unstable = dict(self.watch.unstable(first_only=not self._goes_on))
        self._unstable = {m: count for m, count in self._unstable.items() if m in unstable}
        for _ in range(_MOST_TURNS):
            if new := self._new(unstable):
                m = self._pass_on_turn(new)
                self._unstable[m] = self._turned[m] = 1
        while len(self._held) > 1:
            self._release_one()
        self._unstable, self._turned = unstable, {}
        self._release_one()

    def _new(self, unstable: Mapping[int, int]) -> dict[int, int]:
        """Those of some unstable harmonics that were stable; the folds of a band turn almost together."""
        return {m: count for m, count in unstable.items() if m not in self._known(unstable)}

    def _known(self, harmonics: Iterable[int]) -> set[int]:
        wrinkles = any(map(has_folds, self._unstable))
        return {m for m in harmonics if m in self._unstable or (wrinkles and has_folds(m))}

    def _pass_on_turn(self, harmonics: Mapping[int, int]) -> int:
        """Pass on the states up to the point where the first of some harmonics turns, which is returned.

        Any state may be the present one if the path ends there, else it is the one before.
        """
        present = self.system.snapshot()
        base = [] if self._judged is None else [self._judged]
        states = [*base, *(held.passed for held in self._held)]
        known = self._known(range(1, self.watch.last + 1))
        turn = first_turn(self.watch, states, harmonics, known, begins_stable=bool(base))
        for _ in range(turn.after + 1 - len(base)):
            self._release_one()
        self.system.read_x()
        self.evaluation.read_fields()
        first = self._held[0]
        stage, parameter, place = first.stage, first.parameter, "at or before"
        if turn.convergence is not None and turn.continuation is not None:
            place, parameter = "at", turn.s / turn.continuation.length
            state = self._record(stage, parameter, turn.convergence, first.modes, turn.kind)
            if state is not None:
                state = replace(state, mode=turn.mode.amplitude)
            self._pass_on(state, self.system.loads, self.unstable_harmonics)
        where = f"{turn.kind} {place} {self.now()}"
        if self.first_critical[0] is None or not self._goes_on:
            self.first_critical = (self.system.loads, turn.kind)
        if not self._goes_on:
            del self.remarks[first.remarks :]
            self._held.clear()
            text = f"lost stability: {where}; the part is then no longer axisymmetric"
            raise PathEnded(self.outcome("lost stability", text, stage, parameter))
        self.remarks.append(where)
        self.system.restore(present, factorise=True)
        self.evaluation.read_fields()
        return turn.mode.m

    def _release_one(self) -> None:
        """Pass on the first state held, with the modes that are known to be unstable there."""
        held = self._held.pop(0)
        self._judged = held.passed
        unstable = {**self._turned, **held.unstable} if held.unstable else self._unstable
        self._pass_on(held.state, held.passed.state.loads, sum(unstable.values()))
