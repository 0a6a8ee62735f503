# SPDX-License-Identifier: MIT
"""Critical points of harmonics: located between states that a path has left behind."""

from collections.abc import Iterable, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from typing import NamedTuple

from annelid.solver.assembly.system import Snapshot
from annelid.solver.continuation.critical_points import ENOUGH, Sample, between
from annelid.solver.continuation.harmonic_watch import HarmonicWatch
from annelid.solver.continuation.newton import Convergence
from annelid.solver.continuation.stage_continuation import StageContinuation
from annelid.solver.errors import NoEquilibrium
from annelid.solver.harmonics.modes import HarmonicMode
from annelid.solver.model.harmonic_words import harmonic_words

_MOST_SOLVES = 24  # states between two states of a path
_MOST_HALVINGS = 5


class Passed(NamedTuple):
    """A state that a path has passed.

    Attributes:
        continuation: Its stage; ``None`` of the first state of a path.
        s: Position along it.
        state: Unknowns, loads and multiplier.
        leaves: Whether it does not continue the state before, but was reached by a jump or a branch.
    """

    continuation: StageContinuation | None
    s: float
    state: Snapshot
    leaves: bool = False


@dataclass(frozen=True)
class Turn:
    """The first harmonic that becomes unstable along a path.

    Attributes:
        after: Number of the last state before it, -1 if there is none.
        continuation: Its stage; ``None`` of the first state of a path.
        s: Position along it.
        state: Unknowns, loads and multiplier.
        mode: The mode without stiffness.
        convergence: How the state was found; ``None`` where the point was not located, and the state is the
            first unstable one.
    """

    after: int
    continuation: StageContinuation | None
    s: float
    state: Snapshot
    mode: HarmonicMode
    convergence: Convergence | None = None

    @property
    def kind(self) -> str:
        """What the part does."""
        return harmonic_words(self.mode.m)


def first_turn(
    watch: HarmonicWatch,
    passed: Sequence[Passed],
    unstable: Mapping[int, int],
    known: Iterable[int] = (),
    *,
    begins_stable: bool = False,
) -> Turn:
    """Locate the first of some harmonics to become unstable; its state is the present one on return.

    Args:
        watch: Judges states.
        passed: States of a path up to one that is unstable.
        unstable: Numbers of unstable modes there, by harmonic.
        known: Harmonics that turned before.
        begins_stable: Whether the first of the states is known to be stable but for those.

    Raises:
        NoEquilibrium: A mode was not found.
    """
    system = watch.harmonics.system
    after, unstable = _last_stable(watch, passed, unstable, begins_stable=begins_stable)
    beyond = passed[after + 1]
    system.restore(beyond.state)
    mode = watch.harmonics.mode(_likely(unstable))
    found = Turn(after, beyond.continuation, beyond.s, beyond.state, mode)
    if after >= 0 and not beyond.leaves and beyond.continuation is not None and beyond.continuation.searches:
        search = _Search(watch, beyond.continuation, passed[after], unstable, known)
        found = search.find(found)
    system.restore(found.state)
    return found


def _last_stable(
    watch: HarmonicWatch, passed: Sequence[Passed], unstable: Mapping[int, int], *, begins_stable: bool
) -> tuple[int, Mapping[int, int]]:
    """Number of the last stable state by bisection, -1 if there is none; what is unstable in the next."""

    def unstable_at(number: int) -> Mapping[int, int]:
        watch.harmonics.system.restore(passed[number].state)
        return watch.counts(unstable)

    low, high = 0, len(passed) - 1
    if not begins_stable and (found := unstable_at(0)):
        return -1, found
    while high - low > 1:
        middle = (low + high) // 2
        if found := unstable_at(middle):
            high, unstable = middle, found
        else:
            low = middle
    return low, unstable


def _likely(unstable: Mapping[int, int]) -> int:
    """The one of some unstable harmonics that probably turned first.

    It has the most unstable modes. Of several it is the middle one, as a band of harmonics widens to both
    sides while a compression grows.
    """
    most = max(unstable.values())
    members = sorted(m for m, count in unstable.items() if count == most)
    return members[len(members) // 2]


class _Search:
    """The search for the first zero of several stiffnesses between a stable and an unstable state.

    First the interval is halved until few harmonics are unstable at its end. Then the zero of one stiffness
    is approached. Where it is stable, or found, all others are counted; if some are unstable there, one of
    those is approached instead.

    Args:
        watch: Judges states.
        continuation: The stage.
        before: The stable state.
        unstable: Numbers of unstable modes in the other one.
        known: Harmonics that turned before.
    """

    def __init__(
        self,
        watch: HarmonicWatch,
        continuation: StageContinuation,
        before: Passed,
        unstable: Mapping[int, int],
        known: Iterable[int],
    ) -> None:
        self._watch, self._harmonics = watch, watch.harmonics
        self._continuation = continuation
        start = before.s if before.continuation in (None, continuation) else 0.0
        self._stable = Sample(start, 0.0, before.state)
        self._unstable = unstable
        self._known = set(known)

    def find(self, beyond: Turn) -> Turn:
        """The first zero before an unstable state; as far as it is found if states between are not."""
        found, least = beyond, ENOUGH * (beyond.s - self._stable.s)
        with suppress(NoEquilibrium), self._continuation.based_on(self._stable.s, self._stable.state):
            found = self._halved(found)
            low, high = self._bracket(found)
            for _ in range(_MOST_SOLVES):
                if low.test <= 0:  # this harmonic was not judged before; it turned earlier
                    return found
                convergence = self._solve(s := between(low, high), low, high)
                tried = replace(found, s=s, state=self._present(), mode=self._harmonics.near(found.mode))
                low, high = _narrowed(low, high, tried)
                located = high.s - low.s < least or abs(between(low, high) - tried.s) < least
                stable = tried.mode.stiffness >= 0
                if (stable or located) and self._others(tried.mode.m):
                    found = replace(tried, mode=self._harmonics.mode(_likely(self._unstable)))
                    low, high = self._bracket(found)
                    continue
                if located:
                    return replace(tried, convergence=convergence)
                if stable:
                    self._stable = low
                else:
                    found = tried
        return found

    def _bracket(self, turn: Turn) -> tuple[Sample, Sample]:
        """The stiffness of a mode at the last state that is known to be stable, and at an unstable one."""
        self._harmonics.system.restore(self._stable.state)
        low = replace(self._stable, test=self._harmonics.near(turn.mode).stiffness)
        return low, Sample(turn.s, turn.mode.stiffness, turn.state)

    def _halved(self, beyond: Turn) -> Turn:
        """Halve the interval while several modes are unstable at its end; the last end that is unstable."""
        turn = beyond
        for _ in range(_MOST_HALVINGS):
            if sum(self._unstable.values()) == 1:
                break
            s = (self._stable.s + turn.s) / 2
            self._solve(s, self._stable, Sample(turn.s, 0.0, turn.state))
            if self._others(likely := _likely(self._unstable), besides=likely):
                turn = replace(turn, s=s, state=self._present())
            else:
                self._stable = Sample(s, 0.0, self._present())
        if turn is beyond:
            return beyond
        self._harmonics.system.restore(turn.state)
        return replace(turn, mode=self._harmonics.mode(_likely(self._unstable)))

    def _solve(self, s: float, low: Sample, high: Sample) -> Convergence:
        return self._continuation.solve_between(s, (low.s, low.state), (high.s, high.state))

    def _present(self) -> Snapshot:
        return self._harmonics.system.snapshot()

    def _others(self, m: int, *, besides: int = 0) -> bool:
        """Whether harmonics are unstable at the present state; only they are considered then.

        Args:
            m: One whose neighbours are counted with those that were unstable before; it is not.
            besides: Another one that is counted.
        """
        others = {*self._unstable, m - 1, m + 1} - {0, m} - self._known
        found = self._watch.counts(sorted(others | {besides} - {0}))
        self._unstable = found or self._unstable
        return bool(found)


def _narrowed(low: Sample, high: Sample, tried: Turn) -> tuple[Sample, Sample]:
    """The ends of the interval that contains the zero; no end may stay as it is (Illinois method)."""
    sample = Sample(tried.s, tried.mode.stiffness, tried.state)
    if sample.test >= 0:
        return sample, replace(high, test=high.test / 2)
    return replace(low, test=low.test / 2), sample
