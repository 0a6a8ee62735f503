# SPDX-License-Identifier: MIT
"""Flat patterns of struts and plates that repeat without a seam in both directions."""

import math
from dataclasses import dataclass, replace

import numpy as np

from annelid.geometry.body import FloatArray
from annelid.geometry.checks import whole_number
from annelid.geometry.errors import InputError

CLOSE = 1e-9
"""Points nearer to each other than this fraction of the cell are one point."""

_LARGEST_BEND = math.radians(10.0)  # between successive pieces of a curved centre line


@dataclass(frozen=True)
class Strut:
    """A straight or finely sampled curved strut.

    Attributes:
        points: Its centre line, shape (k, 2), k >= 2; a ring ends where it begins.
        width: Its width, mm.
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
        """Length of the centre line, in its own units."""
        return float(np.linalg.norm(np.diff(self.points, axis=0), axis=1).sum())


@dataclass(frozen=True)
class Pattern:
    """One repeating rectangle of a flat lattice, x around the part and y along it.

    Copies moved by whole multiples of ``width`` and ``height`` make up the lattice; struts and plates may
    reach out of the rectangle, and meet those of the copies.

    Attributes:
        name: Kind of the cell.
        width: Period around, mm.
        height: Period along, mm.
        struts: Struts, each belonging to the rectangle once; they meet at their ends or at plates.
        plates: Solid polygons, each shape (k, 2), counter-clockwise, mm.
        mirrors: Whether x = 0 and x = width/2 are mirror lines.
        room: Width of struts at which openings would close, mm.
    """

    name: str
    width: float
    height: float
    struts: tuple[Strut, ...]
    plates: tuple[FloatArray, ...] = ()
    mirrors: bool = False
    room: float = math.inf

    def __post_init__(self) -> None:
        for name, size in (("width", self.width), ("height", self.height)):
            if not (math.isfinite(size) and size > 0.0):
                raise InputError(f"pattern.{name} = {size:g} mm: must be above 0 mm", key=name, value=size)

    @property
    def widest(self) -> float:
        """Width of the widest strut, mm."""
        return max(strut.width for strut in self.struts)

    def scaled(self, factor: float) -> "Pattern":
        """Return the pattern with all lengths times ``factor``, except strut widths."""
        return replace(
            self,
            width=factor * self.width,
            height=factor * self.height,
            struts=tuple(replace(strut, points=factor * strut.points) for strut in self.struts),
            plates=tuple(factor * plate for plate in self.plates),
            room=factor * self.room,
        )

    def shifted(self, x: float, y: float) -> "Pattern":
        """Return the pattern moved by x and y, mm; mirror lines are forgotten when x is not 0."""
        move = np.array([x, y])
        return replace(
            self,
            struts=tuple(replace(strut, points=strut.points + move) for strut in self.struts),
            plates=tuple(plate + move for plate in self.plates),
            mirrors=self.mirrors and x == 0.0,
        )

    def tiled(self, columns: int, rows: int) -> "Pattern":
        """Return ``columns`` by ``rows`` copies as one pattern.

        Raises:
            InputError: If a number is not a whole number of at least 1.
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
    """Return an arc finely sampled, angles in rad; whole turns close exactly."""
    count = max(2, math.ceil(abs(stop - start) / _LARGEST_BEND) + 1)
    angle = np.linspace(start, stop, count)
    points = np.array(centre) + radius * np.column_stack([np.cos(angle), np.sin(angle)])
    if math.isclose(abs(stop - start), 2 * math.pi):
        points[-1] = points[0]
    return points
