# SPDX-License-Identifier: MIT
"""Search between two states of a stage for the one at which a quantity has a given value."""

import math
from collections.abc import Callable
from dataclasses import dataclass

from annelid.solver.assembly.snapshot import Snapshot
from annelid.solver.continuation.newton import Convergence
from annelid.solver.continuation.stage_continuation import StageContinuation

_NARROW = 1e-8  # fraction of the first interval at which a quantity is taken to jump
_MOST_SOLVES = 80
_KINK = 20.0  # ratio of two levels beyond which a straight line between them leads astray


@dataclass
class LevelSample:
    """A state of a stage.

    Attributes:
        s: Position along the stage.
        level: How far a quantity is beyond the value sought, negative short of it.
        state: Unknowns, loads and multiplier.
        convergence: How the state was found.
    """

    s: float
    level: float
    state: Snapshot
    convergence: Convergence


def search_level(
    continuation: StageContinuation,
    low: LevelSample,
    high: LevelSample,
    read: Callable[[], float],
    tolerance: float,
    narrow: float = _NARROW,
) -> tuple[LevelSample, LevelSample]:
    """Illinois method for a level of zero, with bisection where the level is infinite or converges slowly.

    Any state may be the present one afterwards. Collective.

    Args:
        continuation: The stage, or an arc.
        low: A state short of the value.
        high: A state beyond it.
        read: Level of the present state, whose fields have been read.
        tolerance: Level at which a state is accepted.
        narrow: Fraction of the first interval at which the search ends if the quantity jumps.

    Returns:
        The last states on both sides; the level of one is within the tolerance unless the quantity jumps.

    Raises:
        NoEquilibrium: A state in between was not found.
    """
    width, a, b = abs(high.s - low.s), low.level, high.level
    size = width
    for number in range(_MOST_SOLVES):
        slow = number % 3 == 2 and abs(high.s - low.s) > size / 2
        if number % 3 == 2:
            size = abs(high.s - low.s)
        fraction = 0.5 if slow or not math.isfinite(a - b) else min(max(_root(a, b), 0.02), 0.98)
        trial = low.s + fraction * (high.s - low.s)
        convergence = continuation.solve_between(trial, (low.s, low.state), (high.s, high.state))
        impossible = continuation.read_fields()
        if impossible is not None:
            raise impossible
        sample = LevelSample(trial, read(), continuation.system.snapshot(), convergence)
        if sample.level < 0:
            low, a, b = sample, sample.level, b / 2
        else:
            high, a, b = sample, a / 2, sample.level
        if abs(sample.level) <= tolerance or abs(high.s - low.s) < narrow * width:
            break
    return low, high


def _root(a: float, b: float) -> float:
    """Where a level is zero between its values a < 0 and b >= 0, as a fraction.

    Where one is far larger than the other, as where a contact is lost, a straight line would lead to steps
    that are too short; its values are compressed.
    """
    if not 1 / _KINK < -a / max(b, 1e-300) < _KINK:
        a, b = math.asinh(a), math.asinh(b)
    return a / (a - b)
