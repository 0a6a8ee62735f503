# SPDX-License-Identifier: MIT
"""Grid lines of a mapped plane: layer faces, band edges and the elements between them."""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from annelid.geometry.body import FloatArray, IntArray
from annelid.geometry.checks import within
from annelid.geometry.errors import checking
from annelid.geometry.shapes.band import Band
from annelid.geometry.shapes.shape import Layer

CLOSE = 1e-9
"""Grid lines nearer to each other than this fraction of the length are one line."""

_MOST = 1e9  # pieces: far more than can be meshed

Locate = Callable[[float, str], float]


def _as_it_is(height: float, key: str) -> float:
    return height


@dataclass(frozen=True)
class Heights:
    """Converts heights Z to grid lines along the part.

    Attributes:
        low: Lowest height of a band, mm.
        high: Highest height of a band, mm.
        part: Lowest and highest height of the part if it is longer than its layers, mm.
        locate: Function of a height and the name for error messages that returns the grid line.
        ends: First and last grid line if these are not heights, mm.
    """

    low: float
    high: float
    part: tuple[float, float] | None = None
    locate: Locate = _as_it_is
    ends: tuple[float, float] | None = None

    def of_band(self, band: Band) -> tuple[float, float]:
        """Return the grid lines of the edges of a band.

        Raises:
            InvalidValue: If the meridian does not pass an edge exactly once.
        """
        with checking(f"electrode '{band.name}'"):
            return self._line_at(band.low, "from"), self._line_at(band.high, "to")

    def _line_at(self, height: float, key: str) -> float:
        return self.locate(min(max(height, self.low), self.high), key)

    def lines(self, bands: Sequence[Band], heights: Sequence[float]) -> FloatArray:
        """Return all grid lines along the part, ascending: its ends, band edges and ``heights``.

        Raises:
            InvalidValue: If a height lies outside of the part.
        """
        lowest, highest = self.part or (self.low, self.high)
        for height in heights:
            within("lines", height, least=lowest, most=highest, unit="mm", why="where the part is")
        found = [edge for band in bands for edge in self.of_band(band)]
        found += [self.locate(height, "lines") for height in heights]
        first, last = self.ends or (lowest, highest)
        return merged(np.array([first, last, *found]), last - first)


@dataclass(frozen=True)
class Radii(Heights):
    """Converts radii R to grid lines along a part whose radius decreases along it, such as a dome.

    The attributes are those of ``Heights`` with radii in place of heights.
    """

    def of_band(self, band: Band) -> tuple[float, float]:
        """Return the grid lines of the edges of a band, ascending: the outer edge comes first."""
        with checking(f"electrode '{band.name}'"):
            return self._line_at(band.high, "to"), self._line_at(band.low, "from")


def stack(layers: Sequence[Layer]) -> FloatArray:
    """Return the distances of the layer faces from the inner face, shape (layers + 1,), mm."""
    return np.concatenate([[0.0], np.cumsum([layer.thickness for layer in layers])])


def pieces(length: float, along: float) -> int:
    """Return the number of elements of at most ``along`` in a length."""
    return max(1, math.ceil(min(length / along, _MOST) * (1 - CLOSE)))


def divide(lines: FloatArray, along: float) -> IntArray:
    """Return the numbers of elements of at most ``along`` between successive lines."""
    return np.array([pieces(step, along) for step in np.diff(lines)], dtype=np.int64)


def merged(lines: FloatArray, length: float) -> FloatArray:
    """Return the lines sorted, keeping lines that coincide within rounding once."""
    ordered = np.sort(lines)
    return ordered[np.concatenate([[True], np.diff(ordered) > CLOSE * length])]
