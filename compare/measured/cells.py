# SPDX-License-Identifier: MIT
"""Points of a scan in cells of angle and height, and the ends of the scan."""

import math
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from annelid.geometry.body import FloatArray, IntArray
from annelid.geometry.errors import InputError

FEWEST = 300
"""Points that a surface needs."""
_PER_CELL, _MOST_CELLS = 6, 10_000
_SECTORS = 36
_RAGGED = 0.25  # share of the sectors that may end before the surface does
_TURN = 2 * np.pi


class PolarPoints(NamedTuple):
    """Points by angle (rad, from 0 to 2π), height (mm) and radius (mm), each of shape (n,)."""

    angle: FloatArray
    height: FloatArray
    radius: FloatArray

    def chosen(self, which: NDArray[Any]) -> "PolarPoints":
        """Some of the points."""
        return PolarPoints(*(values[which] for values in self))


class Cells(NamedTuple):
    """Cells with at least one point; each of shape (c,).

    Attributes:
        angle: Mean angle of the points, rad.
        height: Mean height, mm.
        radius: Mean or median radius, mm.
        number: Number of points.
    """

    angle: FloatArray
    height: FloatArray
    radius: FloatArray
    number: FloatArray


class CellLayout(NamedTuple):
    """Numbers of cells around and along, and the range of heights, mm."""

    around: int
    along: int
    low: float
    high: float

    def number(self, points: PolarPoints) -> IntArray:
        """Cell of each point, shape (n,)."""
        column = np.minimum((points.angle / _TURN * self.around).astype(np.int64), self.around - 1)
        share = (points.height - self.low) / (self.high - self.low)
        row = np.clip((share * self.along).astype(np.int64), 0, self.along - 1)
        return row * self.around + column


def polar_points(points: FloatArray) -> PolarPoints:
    """Return points X, Y, Z, shape (n, 3), by angle, height and radius."""
    x, y, z = points.T
    return PolarPoints(np.arctan2(y, x) % _TURN, z, np.hypot(x, y))


def ends_of(points: PolarPoints) -> tuple[float, float]:
    """Return the heights between which three quarters of all angles are reached, mm.

    Raises:
        InputError: There are too few points.
    """
    sector = (points.angle / _TURN * _SECTORS).astype(np.int64) % _SECTORS
    lows, highs = [], []
    for number in np.unique(sector):
        z = np.sort(points.height[sector == number])
        spare = min(2, (len(z) - 1) // 3)  # single points may float beyond the end
        lows.append(z[spare])
        highs.append(z[-1 - spare])
    low, high = float(np.quantile(lows, 1 - _RAGGED)), float(np.quantile(highs, _RAGGED))
    if len(points.radius) < FEWEST or not low < high:
        text = f"only {len(points.radius)} points around the axis are left: at least {FEWEST} are needed"
        raise InputError(text, points=len(points.radius))
    return low, high


def layout_of(points: PolarPoints, low: float, high: float) -> CellLayout:
    """Return cells about as wide as high, with a few points in each."""
    around = _TURN * float(np.median(points.radius))
    wanted = min(max(len(points.radius) / _PER_CELL, 300), _MOST_CELLS)
    side = math.sqrt(around * (high - low) / wanted)
    return CellLayout(
        int(np.clip(around / side, 24, 180)), int(np.clip((high - low) / side, 8, 300)), low, high
    )


def cells_of(points: PolarPoints, layout: CellLayout, *, robust: bool = False) -> Cells:
    """Average points in cells; ``robust`` takes the median of the radii."""
    number = layout.number(points)
    order = np.lexsort([points.radius, number])
    _, first, count = np.unique(number[order], return_index=True, return_counts=True)
    means = [np.add.reduceat(values[order], first) / count for values in points]
    if robust:
        means[2] = points.radius[order][first + count // 2]
    angle, height, radius = means
    return Cells(angle, height, radius, count.astype(np.float64))
