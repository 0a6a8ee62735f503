# SPDX-License-Identifier: MIT
"""Critical points of harmonics: located between states that a path has left behind."""

from collections.abc import Iterable, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from functools import partial
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


def first_turn(watch: HarmonicWatch, passed: Sequence[Passed], unstable: Iterable[int]) -> Turn:
    """Locate the first of some harmonics to become unstable; its state is the present one on return.

    Args:
        watch: Judges states.
        passed: States of a path up to one that is unstable.
        unstable: Harmonics that are unstable there.

    Raises:
        NoEquilibrium: A mode was not found.
    """
    system = watch.harmonics.system
    after, harmonics = _last_stable(watch, passed, list(unstable))
    beyond = passed[after + 1]
    system.restore(beyond.state)
    softest = min(map(watch.harmonics.mode, harmonics), key=lambda mode: mode.stiffness)
    turn = Turn(after, beyond.continuation, beyond.s, beyond.state, softest)
    continuation = beyond.continuation
    if after >= 0 and not beyond.leaves and continuation is not None and continuation.searches:
        before = passed[after]
        same = before.continuation is None or before.continuation is continuation
        start = before.s if same else 0.0
        with suppress(NoEquilibrium), continuation.based_on(start, before.state):
            turn = _locate(watch, turn, (start, before.state), harmonics)
    system.restore(turn.state)
    return turn


def _last_stable(
    watch: HarmonicWatch, passed: Sequence[Passed], harmonics: list[int]
) -> tuple[int, list[int]]:
    """Number of a stable state before an unstable one, by bisection, and the harmonics unstable in that.

    The number is -1 if the first state is unstable.
    """

    def unstable_at(number: int) -> list[int]:
        watch.harmonics.system.restore(passed[number].state)
        return list(watch.counts(harmonics))

    if found := unstable_at(0):
        return -1, found
    low, high = 0, len(passed) - 1
    while high - low > 1:
        middle = (low + high) // 2
        if found := unstable_at(middle):
            high, harmonics = middle, found
        else:
            low = middle
    return low, harmonics


def _locate(watch: HarmonicWatch, beyond: Turn, before: tuple[float, Snapshot], harmonics: list[int]) -> Turn:
    """The first zero of the least stiffnesses of some harmonics between a stable state and an unstable one.

    That of the softest harmonic beyond is sought first; others that are unstable there come before it.
    """
    mode, continuation = watch.harmonics.mode, beyond.continuation
    assert continuation is not None
    while True:
        m = beyond.mode.m
        stiffness = partial(_stiffness, watch, m)
        continuation.system.restore(before[1])
        low = Sample(before[0], stiffness(), before[1])
        high = Sample(beyond.s, beyond.mode.stiffness, beyond.state)
        found, convergence, _ = find_zero(continuation, low, high, stiffness)
        beyond = replace(beyond, s=found.s, state=found.state, mode=mode(m), convergence=convergence)
        harmonics = list(watch.counts([other for other in harmonics if other != m]))
        if not harmonics:
            return beyond
        beyond = replace(beyond, mode=min(map(mode, harmonics), key=lambda mode: mode.stiffness))


def _stiffness(watch: HarmonicWatch, m: int) -> float:
    return watch.harmonics.mode(m).stiffness
