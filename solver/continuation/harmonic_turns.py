# SPDX-License-Identifier: MIT
"""Critical points of harmonics: located between states that a path has left behind."""

from collections.abc import Iterable, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from functools import cache
from typing import NamedTuple

from annelid.solver.assembly.system import Snapshot
from annelid.solver.continuation.critical_points import Sample, find_zero
from annelid.solver.continuation.harmonic_watch import HarmonicWatch
from annelid.solver.continuation.newton import Convergence
from annelid.solver.continuation.stage_continuation import StageContinuation
from annelid.solver.errors import NoEquilibrium
from annelid.solver.harmonics.modes import HarmonicMode
from annelid.solver.model.harmonic_words import harmonic_words


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
    watch: HarmonicWatch, passed: Sequence[Passed], unstable: Iterable[int], known: Iterable[int] = ()
) -> Turn:
    """Locate the first of some harmonics to become unstable; its state is the present one on return.

    Args:
        watch: Judges states.
        passed: States of a path up to one that is unstable.
        unstable: Harmonics that are unstable there.
        known: Harmonics that turned before.

    Raises:
        NoEquilibrium: A mode was not found.
    """
    system = watch.harmonics.system
    after, harmonics = _last_stable(watch, passed, list(unstable))
    beyond = passed[after + 1]
    found = Turn(after, beyond.continuation, beyond.s, beyond.state, _softest(watch, beyond, harmonics))
    continuation = beyond.continuation
    if after < 0 or beyond.leaves or continuation is None or not continuation.searches:
        return found
    before = passed[after]
    start = before.s if before.continuation in (None, continuation) else 0.0
    with suppress(NoEquilibrium), continuation.based_on(start, before.state):
        while harmonics:
            found = _locate(watch, found, start, before)
            m, others = found.mode.m, [other for other in harmonics if other != found.mode.m]
            harmonics = [*watch.counts(others), *_neighbours(watch, m, {*others, *known})]
            if harmonics:
                mode = _softest(watch, Passed(continuation, found.s, found.state), harmonics)
                found = replace(found, mode=mode)
    system.restore(found.state)
    return found


def _last_stable(
    watch: HarmonicWatch, passed: Sequence[Passed], harmonics: list[int]
) -> tuple[int, list[int]]:
    """Number of the last stable state by bisection, -1 if there is none; what is unstable in the next."""

    def unstable_at(number: int) -> list[int]:
        watch.harmonics.system.restore(passed[number].state)
        return list(watch.counts(harmonics))

    low, high = 0, len(passed) - 1
    if found := unstable_at(0):
        return -1, found
    while high - low > 1:
        middle = (low + high) // 2
        if found := unstable_at(middle):
            high, harmonics = middle, found
        else:
            low = middle
    return low, harmonics


def _softest(watch: HarmonicWatch, state: Passed, harmonics: list[int]) -> HarmonicMode:
    """The mode of least stiffness of a state, which has one minimum in a band of harmonics.

    If there are several bands, the mode is that of one of them.
    """
    watch.harmonics.system.restore(state.state)
    harmonics, mode = sorted(harmonics), cache(watch.harmonics.mode)
    low, high = 0, len(harmonics) - 1
    while low < high:
        middle = (low + high) // 2
        if mode(harmonics[middle]).stiffness < mode(harmonics[middle + 1]).stiffness:
            high = middle
        else:
            low = middle + 1
    return mode(harmonics[low])


def _neighbours(watch: HarmonicWatch, m: int, known: set[int]) -> list[int]:
    """Harmonics beside one that are unstable at the present state, but those that are known."""
    found: list[int] = []
    for sense in (-1, 1):
        other = m + sense
        while other > 0 and other not in known and watch.counts([other]):
            found.append(other)
            other += sense
    return found


def _locate(watch: HarmonicWatch, beyond: Turn, start: float, before: Passed) -> Turn:
    """The zero of a stiffness between a stable state and an unstable one; it is the present state.

    Raises:
        NoEquilibrium: It was not found.
    """
    system, harmonics, continuation = watch.harmonics.system, watch.harmonics, beyond.continuation
    assert continuation is not None

    def stiffness() -> float:
        return harmonics.near(beyond.mode).stiffness

    system.restore(before.state)
    low = Sample(start, stiffness(), before.state)
    high = Sample(beyond.s, beyond.mode.stiffness, beyond.state)
    found, convergence, _ = find_zero(continuation, low, high, stiffness)
    mode = harmonics.near(beyond.mode)
    return replace(beyond, s=found.s, state=found.state, mode=mode, convergence=convergence)
