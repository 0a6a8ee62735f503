# SPDX-License-Identifier: MIT
"""Flat patterns of struts and plates that are periodic in both directions."""

import math
from dataclasses import dataclass, replace

import numpy as np

from annelid.geometry.body import FloatArray
from annelid.geometry.checks import whole_number, within

CLOSE = 1e-9
"""Points nearer to each other than this fraction of a cell are one point."""

_LARGEST_BEND = math.radians(10.0)  # between successive segments of a curved centre line


@dataclass(frozen=True)
class Strut:
    """A straight or finely sampled curved strut.

    Attributes:
        points: Centre line, shape (k, 2), k >= 2; the last point of a ring is its first.
        width: Width, mm.
    """

    points: FloatArray
    width: float

    @property
    def closed(self) -> bool:
        """Whether the centre line is a ring."""
        return (
            bool(np.allclose(self.points[0], self.points[-1], rtol=0.0, atol=1e-12)) and len(self.points) > 3
        )

    @property
    def length(self) -> float:
        """Length of the centre line, in the units of its points."""
        return float(np.linalg.norm(np.diff(self.points, axis=0), axis=1).sum())


@dataclass(frozen=True)
class Pattern:
    """One rectangular period of a flat lattice, with x around the part and y along it.

    Copies shifted by whole multiples of ``width`` and ``height`` make up the lattice. Struts and plates may
    extend beyond the rectangle, where they meet those of the copies.

    Attributes:
        name: Kind of the cell.
        width: Period around the part, mm.
        height: Period along the part, mm.
        struts: Struts of one period; they meet at their ends or at plates.
        plates: Solid polygons, each of shape (k, 2), counter-clockwise, mm.
        symmetric: Whether x = 0 and x = width/2 are mirror lines.
        closing_width: Strut width at which the openings would close, mm.
    """

    name: str
    width: float
    height: float
    struts: tuple[Strut, ...]
    plates: tuple[FloatArray, ...] = ()
    symmetric: bool = False
    closing_width: float = math.inf

    def __post_init__(self) -> None:
        for name, size in (("width", self.width), ("height", self.height)):
            within(name, size, above=0.0, unit="mm")

    @property
    def widest(self) -> float:
        """Width of the widest strut, mm."""
        return max(strut.width for strut in self.struts)

    def scaled(self, factor: float) -> "Pattern":
        """Return the pattern with all lengths except strut widths multiplied by a factor."""
        return replace(
            self,
            width=factor * self.width,
            height=factor * self.height,
            struts=tuple(replace(strut, points=factor * strut.points) for strut in self.struts),
            plates=tuple(factor * plate for plate in self.plates),
            closing_width=factor * self.closing_width,
        )

    def shifted(self, x: float, y: float) -> "Pattern":
        """Return the pattern shifted by x and y in mm; it has no mirror lines if x is not 0."""
        move = np.array([x, y])
        return replace(
            self,
            struts=tuple(replace(strut, points=strut.points + move) for strut in self.struts),
            plates=tuple(plate + move for plate in self.plates),
            symmetric=self.symmetric and x == 0.0,
        )

    def tiled(self, columns: int, rows: int) -> "Pattern":
        """Return ``columns`` by ``rows`` copies as one pattern.

        Raises:
            InputError: If ``columns`` or ``rows`` is not a whole number of at least 1.
        """
        whole_number("columns", columns, least=1)
        whole_number("rows", rows, least=1)
        moves = np.array([(i * self.width, j * self.height) for j in range(rows) for i in range(columns)])
        return replace(
            self,
            width=columns * self.width,
            height=rows * self.height,
            struts=tuple(replace(s, points=s.points + move) for move in moves for s in self.struts),
            plates=tuple(plate + move for move in moves for plate in self.plates),
        )


def polyline(*points: tuple[float, float]) -> FloatArray:
    """Return points as an array, shape (k, 2)."""
    return np.array(points, dtype=np.float64)


def arc(centre: tuple[float, float], radius: float, start: float, stop: float) -> FloatArray:
    """Return a finely sampled arc between two angles in rad; full circles close exactly."""
    count = max(2, math.ceil(abs(stop - start) / _LARGEST_BEND) + 1)
    angle = np.linspace(start, stop, count)
    points = np.array(centre) + radius * np.column_stack([np.cos(angle), np.sin(angle)])
    if math.isclose(abs(stop - start), 2 * math.pi):
        points[-1] = points[0]
    return points
