# SPDX-License-Identifier: MIT
"""Critical points: located between two states of a stage whose numbers of unstable modes differ."""

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import partial

import numpy as np

from annelid.solver.assembly.snapshot import Snapshot
from annelid.solver.continuation.eigenmodes import Eigenmode, lowest_eigenmodes, softest_mode
from annelid.solver.continuation.newton import Convergence
from annelid.solver.continuation.stage_continuation import StageContinuation
from annelid.solver.errors import NoEquilibrium

MOST_SOLVES = 8
ENOUGH = 1e-4  # fraction of the step to which a point is located; a limit load is then known to about 1e-8


@dataclass(frozen=True)
class CriticalState:
    """A critical point.

    Attributes:
        kind: ``"limit point"`` (the load has an extreme there) or ``"bifurcation"``.
        s: Position along the stage.
        mode: The mode without stiffness.
        convergence: Of the state there.
        solves: States solved to find it.
        state: Unknowns, loads and multiplier there.
        modes: How many modes lose their stiffness there, as far as they can be distinguished.
    """

    kind: str
    s: float
    mode: Eigenmode
    convergence: Convergence
    solves: int
    state: Snapshot
    modes: int = 1


@dataclass
class Sample:
    """A state of a stage.

    Attributes:
        s: Position along the stage.
        test: Value of a test function there.
        state: Unknowns, loads and multiplier.
    """

    s: float
    test: float
    state: Snapshot


def find_zero(
    continuation: StageContinuation, low: Sample, high: Sample, test: Callable[[], float]
) -> tuple[Sample, Convergence, int]:
    """The zero of a test function between two states of a stage, with how it converged and states solved.

    The state found is the present one, factorised.

    Raises:
        NoEquilibrium: No state could be solved in between.
    """
    width, solves = high.s - low.s, 0
    while solves < MOST_SOLVES:
        solves += 1
        trial = between(low, high)
        convergence = continuation.solve_between(trial, (low.s, low.state), (high.s, high.state))
        sample = Sample(trial, test(), continuation.system.snapshot())
        if np.sign(sample.test) == np.sign(low.test):
            low = sample
            high.test /= 2  # Illinois: no end may stay where it is
        else:
            high = sample
            low.test /= 2
        narrow = abs(high.s - low.s) < ENOUGH * abs(width)
        if narrow or abs(between(low, high) - sample.s) < ENOUGH * abs(width):
            break
    return sample, convergence, solves


class Locator:
    """Root search for the critical points between the last accepted state of a stage and its present one."""

    def __init__(self, continuation: StageContinuation) -> None:
        self.continuation = continuation
        self.system = continuation.system

    def locate(self, s: float, before: int, after: int) -> list[CriticalState]:
        """Find the critical points between the last accepted and the present state at ``s``, in that order.

        The i-th smallest stiffness passes zero where the i-th mode changes; where the load has an extreme on
        the way its slope, which is smoother, takes the place of one of them. On return the last point
        searched is the present state, factorised; the caller restores what it needs.

        Args:
            s: Position of the present, factorised state.
            before: Unstable modes at the last accepted state.
            after: Unstable modes at the present state.

        Raises:
            NoEquilibrium: No state could be solved in between.
        """
        numbers = set(range(min(before, after), max(before, after)))
        end, last = self.system.snapshot(), self.continuation.last
        found = []
        if self._slope_changes():
            found = [self._find(s, self.continuation.load_slope, last.rate, "limit point")]
            numbers.discard(self._softest_number())
        single = not found and len(numbers) == 1
        for number in sorted(numbers):
            self.system.restore(end, factorise=True)
            point = self._find(s, partial(self._stiffness, number), None, "bifurcation")
            # A step may pass so much of the curve that the load's slope hides an extreme.
            found.append(
                replace(point, kind="limit point") if single and self._extreme(point, end) else point
            )
        return _merged(sorted(found, key=lambda critical: critical.s), abs(s - last.s))

    def _extreme(self, point: CriticalState, end: Snapshot) -> bool:
        """Whether the load at a point is beyond those at both ends."""
        if self.continuation.control is None:
            return False
        λ, ends = point.state.multiplier, (self.continuation.last.state.multiplier, end.multiplier)
        return (λ - ends[0]) * (λ - ends[1]) > 0

    def _find(self, s: float, test: Callable[[], float], at_last: float | None, kind: str) -> CriticalState:
        """The zero of a test function between the last accepted and the present state."""
        last = self.continuation.last
        high = Sample(s, test(), self.system.snapshot())
        low = Sample(last.s, self._at_last(test) if at_last is None else at_last, last.state)
        sample, convergence, solves = find_zero(self.continuation, low, high, test)
        assert last.s <= sample.s <= s
        return CriticalState(kind, sample.s, softest_mode(self.system), convergence, solves, sample.state)

    def _slope_changes(self) -> bool:
        """Whether dλ/ds changes its sign between the last accepted and the present state."""
        if self.continuation.control is None:
            return False
        return self.continuation.load_slope() * self.continuation.last.rate < 0

    def _stiffness(self, number: int) -> float:
        """The stiffness that has ``number`` smaller ones, at the present, factorised state.

        The inertia gives how many are negative, the eigensolver those nearest to zero.
        """
        negative = self.system.unstable_modes()
        values = np.array([mode.stiffness for mode in lowest_eigenmodes(self.system)])
        if number < negative:
            below = np.sort(values[values < 0])[::-1]
            rank = negative - 1 - number
            return float(below[min(rank, len(below) - 1)]) if len(below) else -np.finfo(float).tiny
        above = np.sort(values[values >= 0])
        rank = number - negative
        return float(above[min(rank, len(above) - 1)]) if len(above) else np.finfo(float).tiny

    def _softest_number(self) -> int:
        """Number of the stiffness nearest to zero at the present, factorised state."""
        below = softest_mode(self.system).stiffness < 0
        return self.system.unstable_modes() - (1 if below else 0)

    def _at_last(self, test: Callable[[], float]) -> float:
        """A test function at the last accepted state; the present state is restored, without its factor."""
        present = self.system.snapshot()
        self.system.restore(self.continuation.last.state, factorise=True)
        value = test()
        self.system.restore(present)
        return value


def between(low: Sample, high: Sample) -> float:
    """Where a test function with values of opposite sign is tried next."""
    fraction = low.test / (low.test - high.test)
    return low.s + float(np.clip(fraction, 0.02, 0.98)) * (high.s - low.s)


def locate(continuation: StageContinuation, s: float, before: int, after: int) -> list[CriticalState]:
    """Locate the critical points between the last accepted and the present state; see ``Locator``."""
    try:
        return Locator(continuation).locate(s, before, after)
    except NoEquilibrium:
        continuation.system.forget_factor()
        raise


def _merged(points: list[CriticalState], width: float) -> list[CriticalState]:
    """Points nearer to each other than they are located, as one of several modes."""
    merged: list[CriticalState] = []
    for point in points:
        if merged and abs(point.s - merged[-1].s) < 2 * ENOUGH * width:
            first = merged.pop()
            kind = "limit point" if "limit point" in (first.kind, point.kind) else first.kind
            point = replace(first, kind=kind, modes=first.modes + point.modes)
        merged.append(point)
    return merged
