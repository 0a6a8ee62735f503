# SPDX-License-Identifier: MIT
"""Simplified outlines of a column of cells: no redundant corners, and the same corners on both sides."""

from collections.abc import Sequence
from itertools import pairwise
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
from numpy.typing import NDArray

from annelid.geometry.body import FloatArray

if TYPE_CHECKING:
    from shapely import Geometry

GRID = 2.0**-34
"""Corners that differ by less than this fraction of the width of a column are one corner."""


class Polygon(NamedTuple):
    """A polygon with holes; the last corner is not repeated.

    Attributes:
        outer: Corners counter-clockwise, shape (k, 2).
        holes: Corners of each hole, clockwise.
    """

    outer: FloatArray
    holes: tuple[FloatArray, ...]

    @property
    def area(self) -> float:
        """Area of the polygon without its holes."""
        return sum(_area(ring) for ring in (self.outer, *self.holes))


def simplified(area: "Geometry", width: float, *, finest: float, shortest: float) -> list[Polygon]:
    """Return the polygons of an area with 0 <= u <= width without redundant corners.

    Corners on both sides are kept, so that adjacent columns still match.

    Args:
        area: The area.
        width: Width of the column.
        finest: Corners that change the outline by less than this are removed.
        shortest: Corners nearer than this to the one before are removed, and so are polygons smaller than
            its square.
    """
    import shapely

    polygons = []
    for part in shapely.get_parts(area):
        if part.geom_type != "Polygon" or part.area < shortest**2:
            continue
        oriented = shapely.orient_polygons(part)
        rings = [np.asarray(ring.coords)[:-1] for ring in (oriented.exterior, *oriented.interiors)]
        reduced = [
            _simplified_ring(ring, _on_sides(ring, width).any(axis=1), finest, shortest) for ring in rings
        ]
        polygon = Polygon(reduced[0], tuple(ring for ring in reduced[1:] if len(ring) > 2))
        valid = len(polygon.outer) > 2 and shapely.Polygon(polygon.outer, polygon.holes).is_valid
        polygons.append(polygon if valid else Polygon(rings[0], tuple(rings[1:])))
    return polygons


def match_sides(
    polygons: Sequence[Polygon], width: float, *, levels: Sequence[float], near: float
) -> list[Polygon]:
    """Return the polygons with the same corners on both sides of the column.

    Args:
        polygons: Polygons as returned by :func:`simplified`.
        width: Width of the column.
        levels: Values of v that corners keep exactly.
        near: Corners on the sides that are nearer to each other than this are one corner.
    """
    sides = _sides(polygons, width, np.asarray(levels, dtype=float), near)
    matched = [
        Polygon(_matched(p.outer, sides), tuple(_matched(hole, sides) for hole in p.holes)) for p in polygons
    ]
    return [
        Polygon(p.outer, tuple(hole for hole in p.holes if len(hole) > 2))
        for p in matched
        if len(p.outer) > 2
    ]


class _Sides(NamedTuple):
    """Corners on the two sides of a column, grouped where they are near each other.

    Attributes:
        width: Width of the column.
        near: Distance by which corners without a partner on the other side are moved inwards.
        values: Values of v, ascending.
        groups: Group of each value.
        middle: Value of v assigned to the corners of each group.
        both: Groups with corners on both sides.
    """

    width: float
    near: float
    values: FloatArray
    groups: NDArray[np.int64]
    middle: FloatArray
    both: NDArray[np.int64]

    def group_of(self, v: FloatArray) -> NDArray[np.int64]:
        """Groups of corners on the sides, given their v."""
        return self.groups[np.searchsorted(self.values, v)]


def _sides(polygons: Sequence[Polygon], width: float, levels: FloatArray, near: float) -> _Sides:
    every = np.concatenate([ring for p in polygons for ring in (p.outer, *p.holes)])
    on = _on_sides(every, width)
    values = np.unique(np.concatenate([every[on.any(axis=1), 1], levels]))
    groups = np.concatenate([[0], np.cumsum(np.diff(values) > near)])
    middle = np.bincount(groups, values) / np.bincount(groups)
    middle[groups[np.searchsorted(values, levels)]] = levels
    low, high = (groups[np.searchsorted(values, every[on[:, side], 1])] for side in (0, 1))
    return _Sides(width, near, values, groups, middle, np.intersect1d(low, high))


def _matched(ring: FloatArray, sides: _Sides) -> FloatArray:
    """The ring with its corners on the sides at the values of their groups, or inwards without a partner."""
    on = _on_sides(ring, sides.width)
    ring, kept = ring.copy(), np.ones(len(ring), dtype=bool)
    for side, (u, inwards) in enumerate(((0.0, sides.near), (sides.width, -sides.near))):
        at = np.flatnonzero(on[:, side])
        group = sides.group_of(ring[at, 1])
        shared = np.isin(group, sides.both)
        ring[at] = np.column_stack([np.where(shared, u, u + inwards), sides.middle[group]])
        along = on[at - 1, side] & on[(at + 1) % len(ring), side]
        kept[at[~shared & along]] = False
    ring = ring[kept]
    return ring[(ring != np.roll(ring, 1, axis=0)).any(axis=1)]


def _on_sides(ring: FloatArray, width: float) -> NDArray[np.bool_]:
    """Whether corners lie on the low and on the high side, shape (k, 2)."""
    return np.abs(ring[:, :1] - [0.0, width]) < 8 * GRID * width


def _simplified_ring(
    ring: FloatArray, pinned: NDArray[np.bool_], finest: float, shortest: float
) -> FloatArray:
    """The ring without redundant corners between its pinned ones."""
    start = int(np.argmax(pinned))
    ring, pinned = np.roll(ring, -start, axis=0), np.roll(pinned, -start)
    stops = [*np.flatnonzero(pinned).tolist(), len(ring)] if pinned.any() else [0, len(ring)]
    closed = np.concatenate([ring, ring[:1]])
    chains = [
        _simplified_chain(closed[first : last + 1], finest, shortest) for first, last in pairwise(stops)
    ]
    return np.concatenate([chain[:-1] for chain in chains])


def _simplified_chain(chain: FloatArray, finest: float, shortest: float) -> FloatArray:
    """The chain without redundant or crowded corners; its ends are kept."""
    import shapely

    if len(chain) < 3:
        return chain
    chain = np.asarray(shapely.simplify(shapely.LineString(chain), finest).coords)
    step = np.linalg.norm(np.diff(chain, axis=0), axis=1)
    kept = np.concatenate([[True], step[:-1] >= shortest, [True]])
    if step[-1] < shortest:
        kept[-2] = len(chain) == 2
    return chain[kept]


def _area(ring: FloatArray) -> float:
    x, y = ring.T
    return float(np.dot(x, np.roll(y, -1)) - np.dot(y, np.roll(x, -1))) / 2
