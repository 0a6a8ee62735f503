# SPDX-License-Identifier: MIT
"""Critical points of harmonics: located between states that a path has left behind."""

import math
from collections.abc import Container, Iterable, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from typing import NamedTuple

from annelid.solver.assembly.snapshot import Snapshot
from annelid.solver.continuation.critical_points import ENOUGH, Sample
from annelid.solver.continuation.harmonic_watch import HarmonicWatch
from annelid.solver.continuation.newton import Convergence
from annelid.solver.continuation.stage_continuation import StageContinuation
from annelid.solver.errors import NoEquilibrium
from annelid.solver.harmonics.modes import HarmonicMode
from annelid.solver.harmonics.second_variation import Powers
from annelid.solver.harmonics.singular import Loss
from annelid.solver.model.harmonic_words import harmonic_words

_MOST_SOLVES = 24  # states between two states of a path
_MOST_CHANGES = 24  # from one harmonic to another that turned before
_APART = 0.25  # steps between neighbours, of m
_FURTHEST = 0.98  # of the way, where a zero is tried
_STEEP = 0.02  # least stiffness lost on the rest of the way, of that left


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
    """Locate the first of all harmonics to become unstable; its state is the present one on return.

    The zero of one stiffness is located. There all harmonics are judged; if another one is unstable there,
    it turned before, and its zero is located instead.

    Args:
        watch: Judges states.
        passed: States of a path up to one that is unstable.
        unstable: Numbers of unstable modes there, of one or more harmonics.
        known: Harmonics that turned before.
        begins_stable: Whether the first of the states is known to be stable but for those.

    Raises:
        NoEquilibrium: A mode was not found.
    """
    known, states = set(known), list(passed)
    if not begins_stable:
        watch.harmonics.system.restore(states[0].state)
        if found := watch.others(known):
            return _unlocated(watch, -1, states[0], _likely(found))
    turn: Turn | None = None
    together: set[int] = set()  # harmonics that turn at one load, as far as it is located
    for _ in range(_MOST_CHANGES):
        m, later = _likely(unstable), turn
        after = _last_stable(watch, states, m)
        m, turn = _Search(watch, states, after, known).find(m)
        if turn is None:
            watch.harmonics.system.restore(states[after].state)
            unstable, end = (watch.others(known) if after else {}), []
        else:
            same = later is not None and math.isclose(turn.s, later.s, rel_tol=ENOUGH)
            together = {m, *together} if same else {m}
            unstable = watch.others({*known, *together})
            end = [Passed(turn.continuation, turn.s, turn.state)]
        if not unstable:
            break
        states = [*states[: after + 1], *end]
    else:  # others turned before: the point is only a bound
        turn = None if turn is None else replace(turn, convergence=None)
    if turn is None:
        turn = _unlocated(watch, after, states[after + 1], m)
    watch.harmonics.system.restore(turn.state)
    return turn


def _unlocated(watch: HarmonicWatch, after: int, beyond: Passed, m: int) -> Turn:
    """The first unstable state in place of the point where a harmonic turns."""
    watch.harmonics.system.restore(beyond.state)
    return Turn(after, beyond.continuation, beyond.s, beyond.state, watch.harmonics.mode(m))


def _last_stable(watch: HarmonicWatch, states: Sequence[Passed], m: int) -> int:
    """Number of the last state that is stable against m waves, by bisection; the first one is."""
    low, high = 0, len(states) - 1
    while high - low > 1:
        middle = (low + high) // 2
        watch.harmonics.system.restore(states[middle].state)
        low, high = (low, middle) if watch.count(m) else (middle, high)
    return low


def _likely(unstable: Mapping[int, int]) -> int:
    """The one of some unstable harmonics that probably turned first: it has the most modes for its m."""
    return max(unstable, key=lambda m: unstable[m] / m)


class _Search:
    """The search for the zero of a stiffness between a stable and an unstable state.

    Args:
        watch: Judges states.
        states: States of a path.
        after: Number of the stable one; the next one is unstable.
        known: Harmonics that turned before.
    """

    def __init__(
        self, watch: HarmonicWatch, states: Sequence[Passed], after: int, known: Container[int]
    ) -> None:
        self._harmonics, self._last, self._known = watch.harmonics, watch.last, known
        self._before, self._beyond, self._after = states[after], states[after + 1], after

    def find(self, m: int) -> tuple[int, Turn | None]:
        """Locate the zero of m waves or of neighbours that turn before; ``None`` if that fails."""
        before, beyond = self._before, self._beyond
        continuation = beyond.continuation
        if beyond.leaves or continuation is None or not continuation.searches:
            return m, None
        system = self._harmonics.system
        start = before.s if before.continuation in (None, continuation) else 0.0
        with suppress(NoEquilibrium), continuation.based_on(start, before.state):
            system.restore(beyond.state)
            target = self._harmonics.second_variation()
            system.restore(before.state)
            m, loss = self._first_to_turn(m, target)
            return m, self._zero(continuation, start, m, loss)
        return m, None

    def _first_to_turn(self, m: int, target: Powers) -> tuple[int, Loss]:
        """The neighbour of m that is first if the second variation changes evenly on the way."""
        losses: dict[int, Loss] = {}

        def share(n: int) -> float:
            if n not in losses:
                losses[n] = self._harmonics.loss(n, target)
            return losses[n].share

        first = 0
        while first != m:
            m, step = first or m, max(1, round(_APART * m))
            near = (n for n in (m, m - step, m + step) if 0 < n <= self._last and n not in self._known)
            first = min(near, key=share)
        if 1 < step < m <= self._last - step:
            below, least, above = share(m - step), share(m), share(m + step)
            if math.isfinite(below + above) and below + above > 2 * least:
                vertex = m + step * (below - above) / (2 * (below + above - 2 * least))
                m = min((n for n in (m, round(vertex)) if n not in self._known), key=share)
        return m, losses[m]

    def _zero(self, continuation: StageContinuation, start: float, m: int, loss: Loss) -> Turn | None:
        """The zero of one stiffness, from where the second variation at both ends puts it."""
        if loss.share == 0 or not 0 < loss.stiffness < math.inf:
            return None
        beyond, vector = self._beyond, loss.vector
        low = Sample(start, loss.stiffness, self._before.state)
        high = Sample(beyond.s, loss.stiffness * (1 - 1 / min(loss.share, _FURTHEST)), beyond.state)
        least, stays, met = ENOUGH * (high.s - low.s), "", False
        for _ in range(_MOST_SOLVES):
            ends = (low.s, low.state), (high.s, high.state)
            convergence = continuation.solve_between(s := _crossing(low, high), *ends)
            mode = self._harmonics.near(m, loss.opposite, vector)
            vector = mode.vector
            tried = Sample(s, mode.stiffness, self._harmonics.system.snapshot())
            if tried.test < 0:
                low.test /= 2 if stays == "low" else 1  # Illinois: no end may stay where it is
                high, stays, met = tried, "low", True
            elif met:
                high.test /= 2 if stays == "high" else 1
                low, stays = tried, "high"
            else:  # the stiffness at the far end follows from the last two
                test = tried.test - _rise(low, tried) * (high.s - s)
                low, high = tried, replace(high, test=min(test, -_STEEP * tried.test))
            if high.s - low.s < least or abs(_crossing(low, high) - s) < least:
                return Turn(self._after, continuation, s, tried.state, mode, convergence)
        return None


def _crossing(low: Sample, high: Sample) -> float:
    """Where a straight line between two values of opposite sign is zero."""
    return low.s + low.test / (low.test - high.test) * (high.s - low.s)


def _rise(low: Sample, high: Sample) -> float:
    """Decrease of a stiffness per length between two states."""
    return (low.test - high.test) / (high.s - low.s)
