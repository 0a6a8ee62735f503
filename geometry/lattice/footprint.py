# SPDX-License-Identifier: MIT
"""The footprint of a lattice: the area of struts, plates and rings in one column of cells, as polygons."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from annelid.geometry.body import FloatArray
from annelid.geometry.lattice.outlines import GRID, Polygon, match_sides, simplified
from annelid.geometry.lattice.pattern import Strut
from annelid.geometry.lattice.wrapping import Lattice

if TYPE_CHECKING:
    from shapely import Geometry

_FINEST = 2e-3  # of half a strut width: corners that change the outline by less are removed
_SHORTEST = 0.05  # of half a strut width: corners nearer to the one before are removed
_FAN = math.radians(45.0)  # largest angle per edge of a rounded corner
_SCALE_CHANGE = 0.02  # relative change of the scale along one piece of a strut, at most
_SAMPLES = 9  # points of a segment at which the scale is evaluated


@dataclass(frozen=True)
class Footprint:
    """The area that a lattice covers in one column of cells, 0 <= u <= period, in the chart of its surface.

    Copies shifted by whole multiples of ``period`` make up the whole lattice. Corners on u = 0 and on
    u = period have the same values of v, so that the copies match.

    Attributes:
        polygons: The covered area, without overlaps.
        period: Width of the column, rad.
        columns: Number of columns around; not a whole number for a sector that does not repeat.
        low: Least v of the lattice.
        high: Largest v of the lattice.
    """

    polygons: tuple[Polygon, ...]
    period: float
    columns: float
    low: float
    high: float

    @property
    def covered_fraction(self) -> float:
        """Covered fraction of the chart between ``low`` and ``high``."""
        area = sum(polygon.area for polygon in self.polygons)
        return area / (self.period * (self.high - self.low))


def footprint(lattice: Lattice, *, half_columns: int = 2) -> Footprint:
    """Return the footprint of a lattice.

    Struts have their true width on the surface; outer corners are rounded where struts meet.

    Args:
        lattice: The lattice.
        half_columns: Width of the returned piece in halves of the pattern; 2 is the whole pattern. A piece
            with an odd number does not repeat, but can be mirrored (see :meth:`Lattice.half_columns`).
    """
    import shapely

    period, extent = half_columns / 2 * lattice.pattern.width, lattice.extent
    cells = _united(_pieces(lattice), lattice.pattern.width, period)
    column = shapely.intersection(cells, shapely.box(0.0, lattice.cells.low, period, lattice.cells.high))
    rings = [shapely.box(0.0, band.low, period, band.high) for band in lattice.rings]
    area = shapely.union_all([column, *rings], grid_size=GRID * period)
    half = lattice.pattern.widest / 2 / float(lattice.chart.scale(_middle(lattice)).max())
    polygons = simplified(area, period, finest=_FINEST * half, shortest=_SHORTEST * half)
    if half_columns % 2 == 0:  # the piece repeats
        levels = sorted({edge for band in (lattice.cells, *lattice.rings) for edge in band})
        polygons = match_sides(polygons, period, levels=levels, near=0.1 * _SHORTEST * half)
    return Footprint(tuple(polygons), period, 2 * math.pi / period, extent.low, extent.high)


def _middle(lattice: Lattice) -> FloatArray:
    v = np.linspace(*lattice.cells, 101)
    return np.column_stack([np.zeros_like(v), v])


def _pieces(lattice: Lattice) -> "list[Geometry]":
    """Strips, rounded corners and plates of one column, with one more row at either end."""
    import shapely

    moves = lattice.cells.low + lattice.pattern.height * np.arange(-1, lattice.along + 1)
    flat = [
        Strut(strut.points + np.array([0.0, move]), strut.width)
        for move in moves
        for strut in lattice.pattern.struts
    ]
    fine = [_refined(strut, lattice) for strut in flat]
    halves = [_half_widths(strut, lattice) for strut in fine]
    outlines = [_strip(strut.points, half) for strut, half in zip(fine, halves, strict=True)]
    outlines += _corners(fine, halves, lattice.pattern.width)
    outlines += [plate + np.array([0.0, move]) for move in moves for plate in lattice.pattern.plates]
    return [shapely.make_valid(shapely.Polygon(outline)) for outline in outlines]


def _united(pieces: "Sequence[Geometry]", period: float, width: float) -> "Geometry":
    """The union of all copies that overlap 0 <= u <= width."""
    import shapely
    from shapely import affinity

    one = shapely.union_all(pieces, grid_size=GRID * period)
    low, _, high, _ = one.bounds
    shifts = range(-math.ceil(high / period), math.ceil((width - low) / period) + 1)
    return shapely.union_all(
        [affinity.translate(one, shift * period) for shift in shifts], grid_size=GRID * period
    )


def _half_widths(strut: Strut, lattice: Lattice) -> FloatArray:
    return strut.width / 2 / _scale(strut.points, lattice)


def _scale(points: FloatArray, lattice: Lattice) -> FloatArray:
    inside = np.column_stack([points[:, 0], np.clip(points[:, 1], *lattice.extent)])
    return lattice.chart.scale(inside)


def _refined(strut: Strut, lattice: Lattice) -> Strut:
    """The strut with enough points that the scale hardly changes between them."""
    start, segment = strut.points[:-1, None], np.diff(strut.points, axis=0)[:, None]
    samples = start + np.linspace(0.0, 1.0, _SAMPLES)[:, None] * segment
    scale = np.log(_scale(samples.reshape(-1, 2), lattice)).reshape(-1, _SAMPLES)
    counts = np.maximum(1, np.ceil(np.abs(np.diff(scale, axis=1)).sum(axis=1) / _SCALE_CHANGE)).astype(int)
    pieces = [
        begin + np.arange(count)[:, None] / count * step
        for begin, step, count in zip(start, segment, counts, strict=True)
    ]
    return Strut(np.concatenate([*pieces, strut.points[-1:]]), strut.width)


def _strip(points: FloatArray, half: FloatArray) -> FloatArray:
    """The outline of a strut with square ends and mitred bends, counter-clockwise."""
    along = np.diff(points, axis=0)
    along /= np.linalg.norm(along, axis=1)[:, None]
    across = np.column_stack([-along[:, 1], along[:, 0]])
    mean = np.concatenate([across[:1], across[1:] + across[:-1], across[-1:]])
    mean /= np.linalg.norm(mean, axis=1)[:, None]
    bend = np.einsum("ij,ij->i", mean, np.concatenate([across, across[-1:]]))
    side = (half / bend)[:, None] * mean
    return np.concatenate([points - side, (points + side)[::-1]])


def _corners(struts: Sequence[Strut], halves: Sequence[FloatArray], period: float) -> list[FloatArray]:
    """Rounded corners that fill gaps of more than 180 degrees between struts that meet."""
    ends: dict[tuple[int, int], list[tuple[float, float, FloatArray]]] = {}
    for strut, half in zip(struts, halves, strict=True):
        for node, neighbour, width in (
            (strut.points[0], strut.points[1], float(half[0])),
            (strut.points[-1], strut.points[-2], float(half[-1])),
        ):
            angle = math.atan2(*(neighbour - node)[::-1])
            u = node[0] % period
            key = round(u / (1e-6 * period)) % 1_000_000, round(node[1] / (1e-6 * period))
            ends.setdefault(key, []).append((angle, width, np.array([u, node[1]])))
    fans = []
    for meeting in ends.values():
        meeting.sort(key=lambda end: end[0])
        for (first, near, node), (second, far, _) in zip(meeting, meeting[1:] + meeting[:1], strict=True):
            gap = (second - first) % (2 * math.pi) if len(meeting) > 1 else 0.0
            if gap > math.pi + 1e-6:
                fans.append(_fan(node, first + math.pi / 2, second - math.pi / 2, near, far))
    return fans


def _fan(centre: FloatArray, start: float, stop: float, half: float, other: float) -> FloatArray:
    angle_range = (stop - start) % (2 * math.pi)
    count = math.ceil(angle_range / _FAN) + 1
    angle = np.linspace(start, start + angle_range, count)
    radius = np.linspace(half, other, count)[:, None]
    return np.concatenate([centre[None], centre + radius * np.column_stack([np.cos(angle), np.sin(angle)])])
