# SPDX-License-Identifier: MIT
"""The named dimensions of flat lattice cells, as lines, arrows and places for labels in their patterns."""

from collections.abc import Callable, Iterator
from typing import Any, NamedTuple

import numpy as np

from annelid.geometry.body import FloatArray
from annelid.geometry.lattice.catalogue import LatticeCell
from annelid.geometry.lattice.honeycombs import (
    DiamondBraid,
    DoubleArrowhead,
    Helices,
    Honeycomb,
    ReentrantHoneycomb,
)
from annelid.geometry.lattice.pattern import Pattern, Strut, arc
from annelid.geometry.lattice.rotating_cells import (
    AntiTetrachiral,
    Hexachiral,
    RotatingSquares,
    SinusoidalLigaments,
)

_RIGHT, _UP = np.array([1.0, 0.0]), np.array([0.0, 1.0])
# Over the height and width of the cell.
_RAY, _ARROW = 0.3, 0.16


class Dimension(NamedTuple):
    """A named dimension in the coordinates of a pattern.

    Attributes:
        key: Its key in case files.
        size: Its size, measured between its points: mm or degrees.
        unit: ``" mm"`` or ``"°"``.
        lines: Thin lines, each of shape (k, 2).
        arrows: Tail and head of each arrow, each of shape (2, 2).
        places: Points beside which a label may stand, with the direction from the point to the label.
    """

    key: str
    size: float
    unit: str
    lines: tuple[FloatArray, ...]
    arrows: tuple[FloatArray, ...]
    places: tuple[tuple[FloatArray, FloatArray], ...]

    def shifted(self, move: FloatArray) -> "Dimension":
        """Return the same dimension in a copy of the cell."""
        return self._replace(
            lines=tuple(line + move for line in self.lines),
            arrows=tuple(arrow + move for arrow in self.arrows),
            places=tuple((point + move, direction) for point, direction in self.places),
        )


def dimensions(cell: LatticeCell, pattern: Pattern) -> list[Dimension]:
    """Return the dimensions of a cell in the coordinates of its pattern."""
    return list(_DIMENSIONS[type(cell)](cell, pattern))


def _length(key: str, start: FloatArray, end: FloatArray) -> Dimension:
    middle, across = (start + end) / 2, _normal(end - start)
    arrows = (np.array([middle, start]), np.array([middle, end]))
    size = float(np.linalg.norm(end - start))
    return Dimension(key, size, " mm", (), arrows, ((middle, across), (middle, -across)))


def _angle(key: str, vertex: FloatArray, first: FloatArray, second: FloatArray, ray: float) -> Dimension:
    """The angle from a direction to another one, along the shorter way."""
    start, turn = np.arctan2(first[1], first[0]), _turn(first, second)
    curve = arc((float(vertex[0]), float(vertex[1])), 0.7 * ray, start, start + turn)
    lines = tuple(np.array([vertex, vertex + ray * _unit(side)]) for side in (first, second))
    outward = _unit(curve[len(curve) // 2] - vertex)
    tips = [line[1] for line in lines]
    beside = [side - (side @ outward) * outward for side in (tips[0] - vertex, tips[1] - vertex)]
    places = (
        (vertex + 1.1 * ray * outward, outward),
        *((t, _unit(b)) for t, b in zip(tips, beside, strict=True)),
    )
    return Dimension(
        key, float(np.degrees(abs(turn))), "°", (*lines, curve), (), (*places, (vertex, -outward))
    )


def _width(strut: Strut, arrow: float, at: float = 0.5) -> Dimension:
    """The width of a strut between two arrows from outside, at a fraction of its points."""
    position = at * (len(strut.points) - 1)
    i = min(int(position), len(strut.points) - 2)
    along = strut.points[i + 1] - strut.points[i]
    centre, across = strut.points[i] + (position - i) * along, _normal(along)
    heads = [centre + side * strut.width / 2 * across for side in (1.0, -1.0)]
    tails = [centre + side * (strut.width / 2 + arrow) * across for side in (1.0, -1.0)]
    arrows = tuple(np.array(pair) for pair in zip(tails, heads, strict=True))
    size = float(np.linalg.norm(heads[0] - heads[1]))
    return Dimension("width", size, " mm", (), arrows, ((tails[0], across), (tails[1], -across)))


def _honeycomb(cell: Honeycomb | ReentrantHoneycomb, pattern: Pattern) -> Iterator[Dimension]:
    vertical, inclined = pattern.struts[3].points, pattern.struts[1].points
    yield _length("vertical", vertical[0], vertical[1])
    yield _length("inclined", inclined[0], inclined[1])
    yield _angle("angle", inclined[0], _RIGHT, inclined[1] - inclined[0], _RAY * pattern.height)
    yield _width(pattern.struts[0], _ARROW * pattern.width)


def _arrowhead(cell: DoubleArrowhead, pattern: Pattern) -> Iterator[Dimension]:
    left, right, short_left, short_right = (strut.points for strut in pattern.struts)
    ray = 0.5 * float(np.linalg.norm(short_left[1] - short_left[0]))
    yield _length("long_arm", right[0], right[1])
    yield _angle("long_angle", left[1], -_UP, left[0] - left[1], ray)
    yield _angle("short_angle", short_right[1], -_UP, short_right[0] - short_right[1], ray)
    yield _width(pattern.struts[0], _ARROW * pattern.width, at=0.25)


def _diamond(cell: DiamondBraid, pattern: Pattern) -> Iterator[Dimension]:
    _, right, _, upper = (strut.points for strut in pattern.struts)
    yield _length("strut", right[0], right[1])
    yield _angle("braid_angle", upper[0], -_UP, upper[1] - upper[0], _RAY * pattern.height)
    yield _width(pattern.struts[2], _ARROW * pattern.width)


def _helices(cell: Helices, pattern: Pattern) -> Iterator[Dimension]:
    points = pattern.struts[0].points
    along, across = points[1] - points[0], -_normal(points[1] - points[0])
    start = points[0] + 0.25 * along
    yield _length("spacing", start, start + (across @ _RIGHT) * pattern.width * across)
    yield _angle("helix_angle", points[0] + 0.5 * along, _UP, along, _RAY * pattern.height)
    yield _width(pattern.struts[0], _ARROW * pattern.width, at=0.1)


def _rotating_squares(cell: RotatingSquares, pattern: Pattern) -> Iterator[Dimension]:
    square, across = pattern.plates[0], pattern.struts[0].points
    middle = across.mean(axis=0)
    half = np.radians(cell.opening) / 2
    sides = [np.array([side * np.sin(half), np.cos(half)]) for side in (-1.0, 1.0)]
    yield _length("side", square[2], square[3])
    yield _angle("opening", middle, sides[1], sides[0], 0.5 * cell.side)
    yield _length("ligament", middle - cell.ligament / 2 * _RIGHT, middle + cell.ligament / 2 * _RIGHT)
    yield _width(pattern.struts[1], _ARROW * pattern.width)


def _chiral(cell: Hexachiral | AntiTetrachiral, pattern: Pattern) -> Iterator[Dimension]:
    ligament = pattern.struts[0].points
    centre = np.array([pattern.width / (2 if isinstance(cell, Hexachiral) else 4), pattern.height / 4])
    slanted = np.array([-np.cos(np.pi / 4), np.sin(np.pi / 4)])
    yield _length("ligament", ligament[0], ligament[1])
    yield Dimension(
        "node_radius",
        cell.node_radius,
        " mm",
        (),
        (np.array([centre, centre + cell.node_radius * slanted]),),
        ((centre, -_UP), (centre, _UP), (centre, _RIGHT), (centre, -_RIGHT)),
    )
    yield _width(pattern.struts[1], _ARROW * pattern.width)


def _sinusoidal(cell: SinusoidalLigaments, pattern: Pattern) -> Iterator[Dimension]:
    wave = pattern.struts[0].points
    crest = wave[len(wave) // 2]
    yield _length("spacing", wave[0], wave[-1])
    yield _length("amplitude", (wave[0] + wave[-1]) / 2, crest)
    yield _width(pattern.struts[1], _ARROW * pattern.width)


def _normal(direction: FloatArray) -> FloatArray:
    return _unit(np.array([-direction[1], direction[0]]))


def _unit(vector: FloatArray) -> FloatArray:
    return np.asarray(vector / np.linalg.norm(vector))


def _turn(first: FloatArray, second: FloatArray) -> float:
    return float(np.arctan2(first[0] * second[1] - first[1] * second[0], first @ second))


_DIMENSIONS: dict[type, Callable[[Any, Pattern], Iterator[Dimension]]] = {
    Honeycomb: _honeycomb,
    ReentrantHoneycomb: _honeycomb,
    DoubleArrowhead: _arrowhead,
    DiamondBraid: _diamond,
    Helices: _helices,
    RotatingSquares: _rotating_squares,
    Hexachiral: _chiral,
    AntiTetrachiral: _chiral,
    SinusoidalLigaments: _sinusoidal,
}
