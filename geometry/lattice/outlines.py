# SPDX-License-Identifier: MIT
"""Tidy outlines of a column: no needless or crowded corners, and the same corners on both of its sides."""

from collections.abc import Sequence
from itertools import pairwise
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
from numpy.typing import NDArray

from annelid.geometry.body import FloatArray

if TYPE_CHECKING:
    from shapely import Geometry

GRID = 2.0**-34
"""Corners that differ by less than this share of a column's width are one corner."""


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
        """Its area."""
        return sum(_area(ring) for ring in (self.outer, *self.holes))


def tidied(whole: "Geometry", width: float, *, finest: float, shortest: float) -> list[Polygon]:
    """Return the polygons of an area with 0 <= u <= width without needless corners.

    Corners on both sides stay, so that what is beyond still fits.

    Args:
        whole: The area.
        width: Width of the column.
        finest: Corners are left out that change the outline by less.
        shortest: Corners are left out that are nearer to the one before; smaller polygons altogether.
    """
    import shapely

    found = []
    for part in shapely.get_parts(whole):
        if part.geom_type != "Polygon" or part.area < shortest**2:
            continue
        turned = shapely.orient_polygons(part)
        rings = [np.asarray(ring.coords)[:-1] for ring in (turned.exterior, *turned.interiors)]
        fewer = [_fewer(ring, _on_sides(ring, width).any(axis=1), finest, shortest) for ring in rings]
        polygon = Polygon(fewer[0], tuple(ring for ring in fewer[1:] if len(ring) > 2))
        sound = len(polygon.outer) > 2 and shapely.Polygon(polygon.outer, polygon.holes).is_valid
        found.append(polygon if sound else Polygon(rings[0], tuple(rings[1:])))
    return found


def joined(
    polygons: Sequence[Polygon], width: float, *, levels: Sequence[float], near: float
) -> list[Polygon]:
    """Return the polygons with the same corners on both sides of the column.

    Args:
        polygons: As :func:`tidied` returns them.
        width: Width of the column.
        levels: Values of v that corners keep exactly.
        near: Corners on the sides that are nearer to each other are one corner.
    """
    sides = _sides(polygons, width, np.asarray(levels, dtype=float), near)
    mended = [
        Polygon(_mended(p.outer, sides), tuple(_mended(hole, sides) for hole in p.holes)) for p in polygons
    ]
    return [
        Polygon(p.outer, tuple(hole for hole in p.holes if len(hole) > 2)) for p in mended if len(p.outer) > 2
    ]


class _Sides(NamedTuple):
    """Corners on the two sides of a column, gathered into one group where they are near each other.

    Attributes:
        width: Width of the column.
        near: How far inwards corners go that have no partner on the other side.
        values: Values of v, ascending.
        groups: Group of each of them.
        middle: The value of v that the corners of a group take.
        both: Groups with corners on both sides.
    """

    width: float
    near: float
    values: FloatArray
    groups: NDArray[np.int64]
    middle: FloatArray
    both: NDArray[np.int64]

    def group_of(self, v: FloatArray) -> NDArray[np.int64]:
        """Groups of some corners on the sides."""
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


def _mended(ring: FloatArray, sides: _Sides) -> FloatArray:
    """A ring whose corners on the sides are those of their groups; corners without partner go inwards."""
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


def _fewer(ring: FloatArray, pinned: NDArray[np.bool_], finest: float, shortest: float) -> FloatArray:
    """A ring without needless corners between its pinned ones."""
    start = int(np.argmax(pinned))
    ring, pinned = np.roll(ring, -start, axis=0), np.roll(pinned, -start)
    stops = [*np.flatnonzero(pinned).tolist(), len(ring)] if pinned.any() else [0, len(ring)]
    closed = np.concatenate([ring, ring[:1]])
    chains = [_thinned(closed[first : last + 1], finest, shortest) for first, last in pairwise(stops)]
    return np.concatenate([chain[:-1] for chain in chains])


def _thinned(chain: FloatArray, finest: float, shortest: float) -> FloatArray:
    """A chain without needless or crowded corners; its ends stay."""
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
