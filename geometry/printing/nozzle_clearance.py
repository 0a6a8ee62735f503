# SPDX-License-Identifier: MIT
"""The clearance between a nozzle and the surface and layers on which it prints.

The nozzle is a body of revolution about its axis: a flat tip, a cone and an infinite cylinder above it. The
surface and the layers below are sampled at points, with a finer sampling under the edge of the tip and where
the gap is smallest. Lines of the layer being printed are not included: the tip slides on them.
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

_SPACING = 0.8  # mm between sampled points of the surface and of lines
_TIP_SPACING = 0.75  # mm between checked positions of the tip
_NEAR = 1.5  # mm around the tip, within which only the points under its edge are checked
_RING = np.array([(np.cos(a), np.sin(a)) for a in np.arange(8) * np.pi / 4])
_EDGE = np.concatenate([0.0 * _RING[:1], *(radius * _RING for radius in (0.5, 1.0, 1.5, 2.0, 3.0, 4.0))])
_PATCH = np.stack(np.meshgrid(*2 * [np.linspace(-0.5, 0.5, 9)]), axis=-1).reshape(-1, 2)
_CHUNK = 32  # positions of the tip at a time


@dataclass(frozen=True)
class Nozzle:
    """Shape of a nozzle.

    Attributes:
        tip: Outer diameter of the flat tip, mm.
        half_angle: Angle between the side of the cone and its axis, degrees.
        length: Length of the cone, mm.
        body: Diameter above the cone, mm.

    Raises:
        InputError: If a number is outside its range.
    """

    tip: float
    half_angle: float
    length: float
    body: float

    def __post_init__(self) -> None:
        within("tip", self.tip, above=0.0, unit="mm")
        within("half_angle", self.half_angle, least=0.0, below=80.0, unit="deg")
        within("length", self.length, above=0.0, unit="mm")
        within("body", self.body, least=self.tip, unit="mm", why="the tip")

    @property
    def shoulder(self) -> float:
        """Radius at the upper end of the cone, mm."""
        return self.tip / 2 + self.length * math.tan(math.radians(self.half_angle))

    def distance(self, radius: FloatArray, height: FloatArray) -> FloatArray:
        """Return the distances of points from the nozzle, mm; negative inside.

        Args:
            radius: Distance of each point from the axis of the nozzle, mm.
            height: Height of each point above the tip along the axis, mm.
        """
        body = max(self.body / 2, self.shoulder)
        top = self.length + np.maximum(0.0, height - self.length)  # the cylinder ends at the point or above
        edges = (
            ((0.0, 0.0), (self.tip / 2, 0.0)),
            ((self.tip / 2, 0.0), (self.shoulder, self.length)),
            ((self.shoulder, self.length), (body, self.length)),
        )
        distance = np.hypot(radius - body, height - top)
        for start, stop in edges:
            distance = np.minimum(distance, _from_segment(radius, height, start, stop))
        outline = np.where(
            height < self.length, self.tip / 2 + height / self.length * (self.shoulder - self.tip / 2), body
        )
        return np.where((height > 0.0) & (radius < outline), -distance, distance)


class Clearance(NamedTuple):
    """Clearance of the nozzle along a tool path.

    Attributes:
        smallest_gap: Smallest gap, mm; negative if the nozzle would penetrate the part.
        tip: Position of the tip there, shape (3,), mm.
        checked: Number of checked positions of the tip.
        collisions: Positions at which the nozzle would penetrate by more than the tolerance of the path,
            shape (k, 3), mm.
    """

    smallest_gap: float
    tip: FloatArray
    checked: int
    collisions: FloatArray


def clearance_of(path: ToolPath) -> Clearance:
    """Return the clearance of the nozzle from the surface and printed layers in all moves."""
    settings, lattice = path.settings, path.lattice
    nozzle = Nozzle(settings.tip, settings.cone_angle, settings.cone_length, settings.body)
    low, high = lattice.heights
    surface = _grid(lattice.chart)
    lines = np.concatenate([_sampled(lattice.chart, line) for line in path.lines])
    gaps, positions = [], []
    for layer in range(path.layers):
        level = low + (high - low) * layer / path.layers
        solids = [_Solid(lattice.chart, surface, low)]
        solids += [_Solid(lattice.chart, lines, level)] if layer else []
        for move in (move for move in path.moves if move.layer == layer):
            chosen = _sample_indices(move)
            tip, direction = move.poses.position[chosen], move.poses.normal[chosen]
            tips = _Tips(tip, MACHINES[settings.machine].nozzle(tip, direction))
            near = _near_gap(nozzle, tips, _Solid(lattice.chart, move.points[chosen], level))
            gaps.append(np.minimum.reduce([_far_gap(nozzle, tips, solid, near) for solid in solids]))
            positions.append(tip)
    gap, tip = np.concatenate(gaps), np.concatenate(positions)
    nearest = int(gap.argmin())
    return Clearance(float(gap[nearest]), tip[nearest], len(gap), tip[gap < -settings.tolerance])


class _Tips(NamedTuple):
    """Positions of the tip (k, 3), mm, and unit vectors along the nozzle (k, 3)."""

    position: FloatArray
    axis: FloatArray


class _Solid(NamedTuple):
    """Points (m, 2) of the chart that sample solid material at a level over the surface."""

    chart: Chart
    points: FloatArray
    level: float

    def around(self, offsets: FloatArray) -> FloatArray:
        """Return positions at offsets (n, 2) or (m, n, 2) in mm from each of the points, shape (m, n, 3)."""
        moved = self.points[:, None] + offsets / self.chart.scale(self.points)[:, None, None]
        moved[..., 1] = np.clip(moved[..., 1], self.chart.low, self.chart.high)
        return self.chart.place(moved.reshape(-1, 2), self.level).position.reshape(*moved.shape[:2], 3)


def _near_gap(nozzle: Nozzle, tips: _Tips, under: _Solid) -> FloatArray:
    """Smallest gap at each position of the tip to the material under and around its edge."""
    ring = nozzle.tip / 2 * _EDGE
    which = _gaps(nozzle, tips, under.around(ring))[1]
    offsets = ring[which][:, None] + nozzle.tip / 2 * _PATCH
    return _gaps(nozzle, tips, under.around(offsets))[0]


def _far_gap(nozzle: Nozzle, tips: _Tips, solid: _Solid, near: FloatArray) -> FloatArray:
    """The gaps ``near``, reduced where material farther from the tip is nearer to the nozzle."""
    points = solid.chart.place(solid.points, solid.level).position
    smallest_gap = near.copy()
    for first in range(0, len(smallest_gap), _CHUNK):
        some = slice(first, first + _CHUNK)
        chunk = _Tips(tips.position[some], tips.axis[some])
        height = points @ chunk.axis.T - np.einsum("ij,ij->i", chunk.position, chunk.axis)
        chosen = np.flatnonzero((height > -near[some]).any(axis=1))  # lower points are farther away
        if len(chosen):
            which = _gaps(nozzle, chunk, points[None, chosen], beyond=_NEAR)[1]
            nearest = solid._replace(points=solid.points[chosen[which]])
            refined = _gaps(nozzle, chunk, nearest.around(_SPACING * _PATCH))[0]
            smallest_gap[some] = np.minimum(near[some], refined)
    return smallest_gap


def _gaps(
    nozzle: Nozzle, tips: _Tips, points: FloatArray, *, beyond: float = 0.0
) -> tuple[FloatArray, IntArray]:
    """Smallest gap at each position of the tip to points, shape (k or 1, m, 3), and the nearest point."""
    offsets = points - tips.position[:, None]
    height = np.einsum("ijk,ik->ij", offsets, tips.axis)
    square = np.einsum("ijk,ijk->ij", offsets, offsets)
    gap = nozzle.distance(np.sqrt(np.maximum(square - height**2, 0.0)), height)
    gap[square < beyond**2] = np.inf
    return np.asarray(gap.min(axis=1)), np.asarray(gap.argmin(axis=1))


def _from_segment(
    radius: FloatArray, height: FloatArray, start: tuple[float, float], stop: tuple[float, float]
) -> FloatArray:
    """Distances from a straight segment of the outline."""
    along = np.subtract(stop, start)
    fraction = ((radius - start[0]) * along[0] + (height - start[1]) * along[1]) / max(along @ along, 1e-300)
    fraction = np.clip(fraction, 0.0, 1.0)
    return np.hypot(radius - start[0] - fraction * along[0], height - start[1] - fraction * along[1])


def _sample_indices(move: Move) -> IntArray:
    """Indices of points at about even distances along a move, including its ends."""
    length = np.concatenate([[0.0], np.cumsum(move.steps)])
    chosen = np.searchsorted(length, np.arange(0.0, length[-1], _TIP_SPACING))
    return np.unique(np.append(chosen, len(length) - 1))


def _grid(chart: Chart) -> FloatArray:
    """Points of the whole surface at about even distances."""
    rows, v = [], chart.low
    while v < chart.high:
        scale = float(chart.scale(np.array([[0.0, v]]))[0])
        u = np.linspace(0.0, PERIOD, max(8, math.ceil(PERIOD * scale / _SPACING)), endpoint=False)
        rows.append(np.column_stack([u, np.full(len(u), v)]))
        v += _SPACING / scale
    return np.concatenate([*rows, [[0.0, chart.high]]])


def _sampled(chart: Chart, line: PrintLine) -> FloatArray:
    """Points of a line and of both of its edges."""
    step = np.linalg.norm(np.diff(line.points, axis=0), axis=1) * chart.scale(line.points[:-1])
    length = np.concatenate([[0.0], np.cumsum(step)])
    at = np.linspace(0.0, length[-1], max(2, math.ceil(length[-1] / _SPACING) + 1))
    middle = np.column_stack([np.interp(at, length, line.points[:, k]) for k in (0, 1)])
    along = np.gradient(middle, axis=0)
    across = np.column_stack([-along[:, 1], along[:, 0]]) / np.linalg.norm(along, axis=1)[:, None]
    across *= (line.width / 2 / chart.scale(middle))[:, None]
    return np.concatenate([middle, middle + across, middle - across])
