# SPDX-License-Identifier: MIT
"""Whether a nozzle keeps off what it prints on: its gap to the surface and to what is printed already.

The nozzle is a body of revolution about its axis: a flat tip, a cone, a cylinder without end above it. The
surface and the layers below are sampled at points, and more finely under the tip's edge and where the gap is
least. Lines of the layer being printed do not count: the tip slides on them.
"""

import math
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from annelid.geometry.body import FloatArray, IntArray
from annelid.geometry.checks import within
from annelid.geometry.lattice.chart import PERIOD, Chart
from annelid.geometry.printing.machines import MACHINES
from annelid.geometry.printing.moves import Move
from annelid.geometry.printing.print_lines import PrintLine
from annelid.geometry.printing.tool_path import ToolPath

_BESIDE = 0.8  # mm between sampled points of the surface and of lines
_APART = 0.75  # mm between the places of the tip that are looked at
_NEAR = 1.5  # mm around the tip where only what is under its edge is looked at
_RING = np.array([(np.cos(a), np.sin(a)) for a in np.arange(8) * np.pi / 4])
_EDGE = np.concatenate([0.0 * _RING[:1], *(radius * _RING for radius in (0.5, 1.0, 1.5, 2.0, 3.0, 4.0))])
_PATCH = np.stack(np.meshgrid(*2 * [np.linspace(-0.5, 0.5, 9)]), axis=-1).reshape(-1, 2)
_AT_ONCE = 32  # places of the tip


@dataclass(frozen=True)
class Nozzle:
    """Shape of a nozzle, from its tip up.

    Attributes:
        tip: Outer diameter of the flat tip, mm.
        half_angle: Angle of the cone's side from its axis, degrees.
        length: Length of the cone, mm.
        body: Diameter of what is above the cone, mm.

    Raises:
        InputError: If a number is outside its range.
    """

    tip: float
    half_angle: float
    length: float
    body: float

    def __post_init__(self) -> None:
        within("printing.tip", self.tip, above=0.0, unit="mm")
        within("printing.cone_angle", self.half_angle, least=0.0, below=80.0, unit="deg")
        within("printing.cone_length", self.length, above=0.0, unit="mm")
        within("printing.body", self.body, least=self.tip, unit="mm", why="the tip")

    @property
    def shoulder(self) -> float:
        """Radius at the upper end of the cone, mm."""
        return self.tip / 2 + self.length * math.tan(math.radians(self.half_angle))

    def gap(self, radius: FloatArray, height: FloatArray) -> FloatArray:
        """Return distances of points from the nozzle, mm; negative inside.

        Args:
            radius: Distance of each point from the nozzle's axis, mm.
            height: Height of each point over the tip, along the axis, mm.
        """
        body = max(self.body / 2, self.shoulder)
        far = self.length + np.maximum(0.0, height - self.length)  # the cylinder is as high as the point
        edges = (
            ((0.0, 0.0), (self.tip / 2, 0.0)),
            ((self.tip / 2, 0.0), (self.shoulder, self.length)),
            ((self.shoulder, self.length), (body, self.length)),
        )
        away = np.hypot(radius - body, height - far)
        for start, stop in edges:
            away = np.minimum(away, _from_segment(radius, height, start, stop))
        wide = np.where(
            height < self.length, self.tip / 2 + height / self.length * (self.shoulder - self.tip / 2), body
        )
        return np.where((height > 0.0) & (radius < wide), -away, away)


class Clearance(NamedTuple):
    """How near the nozzle comes.

    Attributes:
        least: Least gap, mm; negative where the nozzle would have to enter.
        at: Place of the tip there, shape (3,), mm.
        places: Number of places of the tip that were looked at.
        touching: Places at which the nozzle would enter by more than the path's tolerance, shape (k, 3), mm.
    """

    least: float
    at: FloatArray
    places: int
    touching: FloatArray


def clearance_of(path: ToolPath) -> Clearance:
    """Return how near the nozzle comes to the surface and to struts, printing and travelling."""
    printing, lattice = path.printing, path.lattice
    nozzle = Nozzle(printing.tip, printing.cone_angle, printing.cone_length, printing.body)
    low, high = lattice.heights
    surface = _grid(lattice.chart)
    lines = np.concatenate([_sampled(lattice.chart, line) for line in path.lines])
    gaps, tips = [], []
    for layer in range(path.layers):
        level = low + (high - low) * layer / path.layers
        solids = [_Solid(lattice.chart, surface, low)]
        solids += [_Solid(lattice.chart, lines, level)] if layer else []
        for move in (move for move in path.moves if move.layer == layer):
            chosen = _looked_at(move)
            tip, direction = move.spots.position[chosen], move.spots.normal[chosen]
            place = _Place(tip, MACHINES[printing.machine].nozzle(tip, direction))
            near = _near_gap(nozzle, place, _Solid(lattice.chart, move.points[chosen], level))
            gaps.append(np.minimum.reduce([_far_gap(nozzle, place, solid, near) for solid in solids]))
            tips.append(tip)
    gap, tip = np.concatenate(gaps), np.concatenate(tips)
    nearest = int(gap.argmin())
    return Clearance(float(gap[nearest]), tip[nearest], len(gap), tip[gap < -printing.tolerance])


class _Place(NamedTuple):
    """Places of the tip (k, 3), and unit vectors along the nozzle."""

    tip: FloatArray
    axis: FloatArray


class _Solid(NamedTuple):
    """Points (m, 2) of the chart of what is solid, at a height over its surface."""

    chart: Chart
    points: FloatArray
    level: float

    def around(self, offsets: FloatArray) -> FloatArray:
        """Places at offsets (n, 2) or (m, n, 2) in mm from each of the points, shape (m, n, 3)."""
        moved = self.points[:, None] + offsets / self.chart.scale(self.points)[:, None, None]
        moved[..., 1] = np.clip(moved[..., 1], self.chart.low, self.chart.high)
        return self.chart.place(moved.reshape(-1, 2), self.level).position.reshape(*moved.shape[:2], 3)


def _near_gap(nozzle: Nozzle, place: _Place, under: _Solid) -> FloatArray:
    """Least gap at each place of the tip to what is under and around its edge."""
    ring = nozzle.tip / 2 * _EDGE
    which = _gaps(nozzle, place, under.around(ring))[1]
    offsets = ring[which][:, None] + nozzle.tip / 2 * _PATCH
    return _gaps(nozzle, place, under.around(offsets))[0]


def _far_gap(nozzle: Nozzle, place: _Place, solid: _Solid, near: FloatArray) -> FloatArray:
    """The same, or less where a solid beyond the surroundings of the tip is nearer than ``near``."""
    points = solid.chart.place(solid.points, solid.level).position
    least = near.copy()
    for first in range(0, len(least), _AT_ONCE):
        some = slice(first, first + _AT_ONCE)
        part = _Place(place.tip[some], place.axis[some])
        height = points @ part.axis.T - np.einsum("ij,ij->i", part.tip, part.axis)
        chosen = np.flatnonzero((height > -near[some]).any(axis=1))  # what is lower is farther away
        if len(chosen):
            which = _gaps(nozzle, part, points[None, chosen], beyond=_NEAR)[1]
            nearest = solid._replace(points=solid.points[chosen[which]])
            least[some] = np.minimum(near[some], _gaps(nozzle, part, nearest.around(_BESIDE * _PATCH))[0])
    return least


def _gaps(
    nozzle: Nozzle, place: _Place, points: FloatArray, *, beyond: float = 0.0
) -> tuple[FloatArray, IntArray]:
    """Least gap at each place of the tip to its points, shape (k or 1, m, 3), and which point that is."""
    way = points - place.tip[:, None]
    height = np.einsum("ijk,ik->ij", way, place.axis)
    square = np.einsum("ijk,ijk->ij", way, way)
    gap = nozzle.gap(np.sqrt(np.maximum(square - height**2, 0.0)), height)
    gap[square < beyond**2] = np.inf
    return np.asarray(gap.min(axis=1)), np.asarray(gap.argmin(axis=1))


def _from_segment(
    radius: FloatArray, height: FloatArray, start: tuple[float, float], stop: tuple[float, float]
) -> FloatArray:
    """Distances from a straight piece of the outline."""
    along = np.subtract(stop, start)
    share = ((radius - start[0]) * along[0] + (height - start[1]) * along[1]) / max(along @ along, 1e-300)
    share = np.clip(share, 0.0, 1.0)
    return np.hypot(radius - start[0] - share * along[0], height - start[1] - share * along[1])


def _looked_at(move: Move) -> IntArray:
    """Numbers of points about evenly along a move, its ends included."""
    way = np.concatenate([[0.0], np.cumsum(move.steps)])
    chosen = np.searchsorted(way, np.arange(0.0, way[-1], _APART))
    return np.unique(np.append(chosen, len(way) - 1))


def _grid(chart: Chart) -> FloatArray:
    """Points of the whole surface, about evenly."""
    rows, v = [], chart.low
    while v < chart.high:
        scale = float(chart.scale(np.array([[0.0, v]]))[0])
        u = np.linspace(0.0, PERIOD, max(8, math.ceil(PERIOD * scale / _BESIDE)), endpoint=False)
        rows.append(np.column_stack([u, np.full(len(u), v)]))
        v += _BESIDE / scale
    return np.concatenate([*rows, [[0.0, chart.high]]])


def _sampled(chart: Chart, line: PrintLine) -> FloatArray:
    """Points of a line and of both of its edges."""
    step = np.linalg.norm(np.diff(line.points, axis=0), axis=1) * chart.scale(line.points[:-1])
    way = np.concatenate([[0.0], np.cumsum(step)])
    at = np.linspace(0.0, way[-1], max(2, math.ceil(way[-1] / _BESIDE) + 1))
    middle = np.column_stack([np.interp(at, way, line.points[:, k]) for k in (0, 1)])
    along = np.gradient(middle, axis=0)
    across = np.column_stack([-along[:, 1], along[:, 0]]) / np.linalg.norm(along, axis=1)[:, None]
    across *= (line.width / 2 / chart.scale(middle))[:, None]
    return np.concatenate([middle, middle + across, middle - across])
