# SPDX-License-Identifier: MIT
"""From the values of a quantity on several meshes to its error bar; pure arithmetic.

Order, extrapolated value and grid convergence index after Roache, J. Fluids Eng. 116, 405 (1994), and Celik
et al., J. Fluids Eng. 130, 078001 (2008), both from memory. The index alone misleads: three values that
diverge have a plausible order, and alternating errors are extrapolated to the wrong side. So the pattern of
the values is found first, and the bar is wider where it is not the regular one.
"""

from dataclasses import dataclass
from enum import StrEnum

import numpy as np

__all__ = ["ErrorBar", "GridConvergence", "Trend", "error_bar", "grid_convergence"]

SAFETY, SAFETY_UNCONFIRMED = 1.25, 3.0
"""Factors of the index: of an order that is seen twice, and of one that is seen once or assumed."""
ASSUMED_ORDER = 2.0
LEAST_ORDER, LARGEST_ORDER = 0.5, 4.5
"""Range of orders that are believed; integrals converge with order 4 on elements of second degree."""
_AGREEMENT = 0.1  # largest relative difference of two orders that confirm each other
_NEAR_NOISE = 100.0  # larger differences that vanish all at once are a coincidence
_ITERATIONS, _CONVERGED = 200, 1e-12


class Trend(StrEnum):
    """How values change with refinement."""

    ROUNDING = "exact to rounding"
    REGULAR = "regular"
    FAST = "faster than the method"
    SLOW = "slow"
    OSCILLATING = "oscillating"
    DIVERGING = "diverging"
    TWO = "two meshes"
    ONE = "one mesh"


@dataclass(frozen=True)
class GridConvergence:
    """What three values give by the published formulas.

    Attributes:
        order: Apparent order.
        extrapolated: Extrapolated value.
        difference: Difference of the two finest values, relative to the finest.
        index: Grid convergence index of the finest value, relative to it.
    """

    order: float
    extrapolated: float
    difference: float
    index: float


@dataclass(frozen=True)
class ErrorBar:
    """The error bar of the finest value.

    Attributes:
        pattern: How the values change.
        finest: The finest value.
        half_width: Half of the width of the bar around the finest value; ``nan`` without one.
        order: Observed order, or the assumed one of two meshes; ``nan`` where it has no meaning.
        extrapolated: Extrapolated value; ``nan`` unless the pattern is regular.
        confirmed: Whether another three meshes show the same order.
    """

    pattern: Trend
    finest: float
    half_width: float
    order: float = np.nan
    extrapolated: float = np.nan
    confirmed: bool = False

    @property
    def index(self) -> float:
        """Half width relative to the finest value; ``nan`` at zero."""
        return self.half_width / abs(self.finest) if self.finest else np.nan

    def around(self, value: float) -> float:
        """Half of the width of a bar around the value on another mesh; it contains the bar of the finest."""
        return abs(value - self.finest) + self.half_width


def grid_convergence(
    sizes: tuple[float, ...], values: tuple[float, ...], *, safety: float = SAFETY
) -> GridConvergence:
    """Apply the published formulas to three values, whatever their pattern.

    Args:
        sizes: Element sizes from coarse to fine, in any unit.
        values: Values on these meshes, no two neighbours equal.
        safety: Factor of the index.
    """
    (h3, h2, h1), (f3, f2, f1) = sizes, values
    r21, r32, ratio = h2 / h1, h3 / h2, (f3 - f2) / (f2 - f1)
    sign, p = np.sign(ratio), 1.0
    for _ in range(_ITERATIONS):
        last = p
        q = np.log((r21**p - sign) / (r32**p - sign)) if r21 != r32 else 0.0
        p = abs(np.log(abs(ratio)) + q) / np.log(r21)
        if abs(p - last) < _CONVERGED or p == 0:
            break
    growth = r21**p - 1
    if growth == 0:
        return GridConvergence(0.0, np.nan, abs((f1 - f2) / f1), np.inf)
    difference = abs((f1 - f2) / f1) if f1 else np.nan
    return GridConvergence(float(p), (r21**p * f1 - f2) / growth, difference, safety * difference / growth)


def error_bar(sizes: tuple[float, ...], values: tuple[float, ...], *, noise: float = 0.0) -> ErrorBar:
    """Find the pattern of values under refinement and the bar of the finest of them.

    Args:
        sizes: Element or step sizes from coarse to fine, in any unit.
        values: Values on these meshes.
        noise: Differences up to this are rounding.
    """
    finest, count = values[-1], len(values)
    if count < 2:
        return ErrorBar(Trend.ONE, finest, np.nan)
    d = np.diff(values)
    if _is_rounding(d, noise):
        return ErrorBar(Trend.ROUNDING, finest, max(noise, float(abs(d[-1]))))
    if count == 2:
        growth = (sizes[0] / sizes[1]) ** ASSUMED_ORDER - 1
        return ErrorBar(
            Trend.TWO, finest, noise + SAFETY_UNCONFIRMED * float(abs(d[0])) / growth, ASSUMED_ORDER
        )
    pattern = _pattern(sizes[-3:], values[-3:])
    if pattern is not Trend.REGULAR:
        order = grid_convergence(sizes[-3:], values[-3:]).order if pattern is Trend.SLOW else np.nan
        return ErrorBar(pattern, finest, noise + _wide(pattern, sizes[-3:], values[-3:]), order)
    found = grid_convergence(sizes[-3:], values[-3:])
    confirmed = _confirmed(sizes, values, found.order, noise)
    if confirmed:
        half = SAFETY * abs(found.extrapolated - finest)
    else:  # a single triple may have any order by accident
        growth = (sizes[-2] / sizes[-1]) ** min(found.order, ASSUMED_ORDER) - 1
        half = SAFETY_UNCONFIRMED * abs(d[-1]) / growth
    return ErrorBar(pattern, finest, noise + float(half), found.order, found.extrapolated, confirmed)


def _is_rounding(d: np.ndarray, noise: float) -> bool:
    """Whether the last difference is rounding, and no earlier one so large that this is a coincidence."""
    return bool(abs(d[-1]) <= noise and abs(d[-2:]).max() <= _NEAR_NOISE * noise)


def _pattern(sizes: tuple[float, ...], values: tuple[float, ...]) -> Trend:
    """The pattern of three values.

    Differences at order zero, where no limit is approached any more, have the ratio ln r21 / ln r32.
    """
    (h3, h2, h1), (f3, f2, f1) = sizes, values
    if f1 == f2:
        return Trend.FAST
    if f2 == f3:
        return Trend.DIVERGING
    ratio = (f1 - f2) / (f2 - f3) * np.log(h3 / h2) / np.log(h2 / h1)
    if abs(ratio) >= 1:
        return Trend.DIVERGING
    if ratio < 0:
        return Trend.OSCILLATING
    order = grid_convergence(sizes, values).order
    return Trend.SLOW if order < LEAST_ORDER else Trend.FAST if order > LARGEST_ORDER else Trend.REGULAR


def _wide(pattern: Trend, sizes: tuple[float, ...], values: tuple[float, ...]) -> float:
    """Half width of the bar where the index is not believed."""
    (h3, h2, h1), (f3, f2, f1) = sizes, values
    spread = max(values) - min(values)
    if pattern is Trend.OSCILLATING:
        return spread
    if pattern is Trend.DIVERGING:
        return SAFETY_UNCONFIRMED * spread
    if pattern is Trend.SLOW:
        return SAFETY_UNCONFIRMED * abs(f1 - f2) / ((h2 / h1) ** LEAST_ORDER - 1)
    # The finest values may be close by accident: the coarser difference is reduced with the assumed order.
    expected = (
        abs(f2 - f3) * (h2**ASSUMED_ORDER - h1**ASSUMED_ORDER) / (h3**ASSUMED_ORDER - h2**ASSUMED_ORDER)
    )
    return float(max(abs(f1 - f2), expected) / ((h2 / h1) ** ASSUMED_ORDER - 1))


def _confirmed(sizes: tuple[float, ...], values: tuple[float, ...], order: float, noise: float) -> bool:
    """Whether the next coarser three meshes show the same order."""
    if len(values) < 4 or abs(values[-3] - values[-2]) <= noise:
        return False
    coarser = sizes[-4:-1], values[-4:-1]
    if _pattern(*coarser) is not Trend.REGULAR:
        return False
    return abs(grid_convergence(*coarser).order - order) <= _AGREEMENT * order
