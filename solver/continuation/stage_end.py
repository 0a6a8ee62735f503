# SPDX-License-Identifier: MIT
"""The end of a stage at a limit of a quantity: search between two states of its path."""

import math

from annelid.solver.continuation.level_search import LevelSample, search_level
from annelid.solver.continuation.newton import Convergence
from annelid.solver.continuation.reporter import Reporter
from annelid.solver.continuation.stage_continuation import StageContinuation
from annelid.solver.errors import NoEquilibrium
from annelid.solver.model.stage_ends import EndCondition
from annelid.solver.model.stages import Stage

_AIM = 0.5  # of the tolerance: the middle of the values that are accepted, on the side wanted of the limit


class StageEnd:
    """The conditions of one stage, and whether the present state meets one of them.

    The level of a state is how far it is beyond the value aimed at, of the condition that is furthest, in
    tolerances. The stage ends at a state with a level of at least -1/2; one above 1/2 has gone too far.

    Attributes:
        reached: Whether the stage ends at the state that was read last.

    Args:
        stage: The stage; its path starts at the present state, whose fields have been read.
        reporter: Reads the states.
    """

    def __init__(self, stage: Stage, reporter: Reporter) -> None:
        self.reached = False
        self._stage = stage
        self._reporter = reporter
        self._values: dict[str, float] = {}
        self._widths = {c: c.tolerance * abs(c.limit) for c in stage.until}
        self._level = self._accepted = self.read()

    def read(self) -> float:
        """Level of the present state, whose fields have been read; collective."""
        conditions = self._stage.until
        if not conditions:
            return -math.inf
        before = self._values
        self._values = self._reporter.evaluation.quantities([c.quantity for c in conditions])
        for condition in conditions:
            if condition.limit == 0 and not self._widths[condition]:
                change = self._value(condition) - before.get(condition.quantity, math.nan)
                self._widths[condition] = condition.tolerance * abs(change) if math.isfinite(change) else 0.0
        self._level = max(map(self._level_of, conditions))
        self.reached = self._level >= -_AIM
        return self._level

    def accept(self) -> None:
        """Go on from the state that was read last."""
        self._accepted = self._level

    def shorten(
        self, continuation: StageContinuation, s: float, convergence: Convergence
    ) -> tuple[float, Convergence]:
        """The present state, or if it has gone beyond a limit the state at the limit; collective.

        Args:
            continuation: The stage at its last accepted state, or its arc on a branch.
            s: Position of the present state, whose fields have been read.
            convergence: Of the present state.

        Returns:
            Position and convergence of the state that is now the present one.

        Raises:
            NoEquilibrium: A state in between was not found; the last accepted state is the present one.
        """
        if self.read() <= _AIM:
            return s, convergence
        last = continuation.last
        low = LevelSample(last.s, self._accepted, last.state, Convergence(0, 0.0))
        high = LevelSample(s, self._level, continuation.system.snapshot(), convergence)
        try:
            low, high = search_level(continuation, low, high, self.read, _AIM)
            found = min(low, high, key=lambda sample: abs(sample.level))
            if abs(found.level) > _AIM:  # the quantity jumps over its limit
                found = low if self._nearest().keeps_limit else high
            continuation.settle(found.s, found.state)
        except NoEquilibrium:
            continuation.go_back()
            self.reached = False
            raise
        self.read()
        self.reached = True
        return found.s, found.convergence

    def remark_met(self, how: str = "") -> None:
        """Remark that the stage ends at the present state."""
        condition = self._nearest()
        text = (
            f"stage '{self._stage.name}' ended at {self._reporter.now()}: {self._in_words(condition)} reached"
        )
        self._reporter.remarks.append(text + how)

    def remark_missed(self) -> None:
        """Remark that the stage has come to its loads without meeting a condition, if it has conditions."""
        if self._stage.until and not self.reached:
            words = ", ".join(self._in_words(c, with_value=True) for c in self._stage.until)
            text = f"stage '{self._stage.name}': not met up to {self._reporter.now()}: {words}"
            self._reporter.remarks.append(text)

    def _value(self, condition: EndCondition) -> float:
        return self._values.get(condition.quantity, math.nan)

    def _level_of(self, condition: EndCondition) -> float:
        beyond = condition.beyond(self._value(condition))
        width = self._widths[condition]
        if width:
            return beyond / width + (_AIM if condition.keeps_limit else -_AIM)
        return math.copysign(math.inf, beyond) if beyond else _AIM

    def _nearest(self) -> EndCondition:
        return max(self._stage.until, key=self._level_of)

    def _in_words(self, condition: EndCondition, *, with_value: bool = False) -> str:
        kind, show = condition.definition.kind, self._reporter.units.show
        text = f"{condition.quantity} {condition.sense} {show(kind, condition.limit)}"
        return f"{text} (it is {show(kind, self._value(condition))})" if with_value else text
