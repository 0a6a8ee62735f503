# SPDX-License-Identifier: MIT
"""An inflated wall with a measured outer face.

Material at an angle and a fraction of the length of the meridian of the computed inflated face is at the same
angle and fraction of the measured face. The thickness of the wall follows from its volume.
"""

from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from annelid.geometry.body import FloatArray
from annelid.geometry.lattice.chart import PERIOD
from annelid.geometry.lattice.measured_chart import MeasuredChart
from annelid.geometry.lattice.measured_surface import RadialSurface
from annelid.geometry.lattice_mesh.extruded_body import WallPoints
from annelid.geometry.lattice_mesh.inflated_wall import InflatedWall
from annelid.geometry.meshing.revolve import cylindrical_to_cartesian

if TYPE_CHECKING:
    from scipy.interpolate import CubicSpline

_SAMPLES = 801  # points along the wall at which lengths are tabulated
_GRID = 101  # points of an even grid on the face in either direction
_NEWTON_STEPS = 4
_STEP = 1e-5  # step of finite differences, relative to the extent


class Deviation(NamedTuple):
    """Deviation of a measured face from the computed one.

    Attributes:
        maximum: Largest distance along the normal of the measured face, mm.
        root_mean_square: Root mean square of this distance over the face, mm.
        length_difference: Axial length of the measured face minus that of the computed one, mm.
    """

    maximum: float
    root_mean_square: float
    length_difference: float


@dataclass(frozen=True)
class MeasuredWall:
    """An inflated wall with a measured outer face.

    Attributes:
        inflated: The computed inflated wall, which is a body of revolution.
        surface: The measured outer face.
    """

    inflated: InflatedWall
    surface: RadialSurface

    @cached_property
    def chart(self) -> MeasuredChart:
        """Chart of the measured face, on which the lattice lies."""
        return MeasuredChart(self.surface)

    @property
    def _outside(self) -> float:
        """Stress-free distance of the outer face from the inner face, mm."""
        return float(self.inflated.grid.through[-1])

    @cached_property
    def _along_at(self) -> "CubicSpline":
        """Stress-free coordinate along the wall as a function of the arc fraction of the inflated face."""
        from scipy.interpolate import CubicSpline

        low, high = self.inflated.grid.along[[0, -1]]
        along = np.linspace(low, high, _SAMPLES)
        position = self.inflated.inflated_position(np.full(_SAMPLES, self._outside), along)
        length = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(position, axis=0), axis=1))])
        return CubicSpline(length / length[-1], along)

    def along(self, where: FloatArray) -> FloatArray:
        """Return the stress-free coordinates along the wall at angles and heights, shape (k,), mm."""
        return np.asarray(self._along_at(np.clip(self.surface.arc_fraction(where), 0.0, 1.0)))

    def v_at_height(self, height: float) -> float:
        """Return v of the line to which material at a stress-free height in mm has moved on average."""
        u, v = np.linspace(0.0, PERIOD, 73)[:-1], np.linspace(self.chart.low, self.chart.high, 201)
        grid = np.stack(np.meshgrid(u, v, indexing="ij"), axis=-1).reshape(-1, 2)
        mean = self.along(self.chart.coordinates(grid)).reshape(len(u), len(v)).mean(axis=0)
        return float(np.interp(self.inflated.along_at_height(height), mean, v))

    def place(self, points: FloatArray, depth: FloatArray) -> WallPoints:
        """Return positions of points (u, v) at depths, as :meth:`InflatedWall.place`."""
        where, through = self.chart.coordinates(points), self._outside + depth
        inside = np.clip(through, 0.0, self._outside)
        normal = self.surface.normal(where)
        position = self._position(where, inside) + (through - inside)[:, None] * normal
        return WallPoints(position, normal, self.chart.hoop(points))

    def stress_free_points(self, points: FloatArray, depth: FloatArray) -> FloatArray:
        """Return stress-free positions X, Y, Z, shape (k, 3), mm."""
        where = self.chart.coordinates(points)
        through = np.clip(self._outside + depth, 0.0, self._outside)
        return cylindrical_to_cartesian(self._stress_free(where, through), where[:, 0])

    def stress_free_gradient(self, points: FloatArray, depth: FloatArray) -> FloatArray:
        """Return the gradient of the stress-free position, as in ``Body``, shape (k, 3, 3).

        Beyond the faces of the wall the values are those at the faces.
        """
        where = self.chart.coordinates(points)
        through = np.clip(self._outside + depth, 0.0, self._outside)
        gradient = self._gradient(where, through)
        normal, hoop = self.surface.normal(where), self.chart.hoop(points)
        present_axes = np.stack([normal, hoop, np.cross(normal, hoop)], axis=1)
        tangent = self._tangent(through, self.along(where))
        free_axes = np.zeros_like(present_axes)  # rows normal, hoop, axial; columns R, hoop, Z
        free_axes[:, 0, 0], free_axes[:, 0, 2] = tangent[:, 1], -tangent[:, 0]
        free_axes[:, 1, 1] = 1.0
        free_axes[:, 2, ::2] = tangent
        return np.asarray(free_axes @ gradient @ np.swapaxes(present_axes, 1, 2))

    @cached_property
    def deviation(self) -> Deviation:
        """Deviation of the measured face from the computed one."""
        where = self.surface.sample_grid(_GRID)
        outer = np.full(len(where), self._outside)
        computed = cylindrical_to_cartesian(
            self.inflated.inflated_position(outer, self.along(where)), where[:, 0]
        )
        distance = np.einsum("ki,ki->k", self.surface.position(where) - computed, self.surface.normal(where))
        ends = self.inflated.inflated_position(outer[:2], self.inflated.grid.along[[0, -1]])
        length_difference = float(np.ptp(self.surface.heights) - np.ptp(ends[:, 1]))
        return Deviation(
            float(np.abs(distance).max()), float(np.sqrt(np.mean(distance**2))), length_difference
        )

    def _position(self, where: FloatArray, through: FloatArray) -> FloatArray:
        """Positions under the measured face: the computed offset from the face, scaled to keep the volume."""
        face, along = self.surface, self.along(where)
        stretch = self._along_at(face.arc_fraction(where), 1) * face.arc_fraction(where, orders=(0, 1))
        tangents = face.tangents(where)
        area = np.linalg.norm(np.cross(tangents[:, :, 0], tangents[:, :, 1]), axis=1)
        metric, turning = (
            np.einsum("kia,kib->kab", tangents, other) for other in (tangents, face.normal_derivatives(where))
        )
        bend = np.linalg.solve(metric, turning)
        computed = self.inflated.outer_face(along)
        volume = self.inflated.volume_outside(through, along)
        bends = computed.curvatures
        measured = _depth_ratio(
            volume * stretch / area, np.trace(bend, axis1=1, axis2=2), np.linalg.det(bend)
        )
        expected = _depth_ratio(volume / computed.area, bends.sum(axis=1), bends.prod(axis=1))
        scale = stretch * computed.area / area * measured / expected
        inwards, back = (scale[:, None] * self.inflated.offset_from_face(through, along)).T
        axial = tangents[:, :, 1] / np.linalg.norm(tangents[:, :, 1], axis=1)[:, None]
        return face.position(where) - inwards[:, None] * face.normal(where) - back[:, None] * axial

    def _gradient(self, where: FloatArray, through: FloatArray) -> FloatArray:
        """Gradient of the stress-free (R, hoop, Z) with respect to the present position (X, Y, Z)."""
        at = np.column_stack([where, through])
        low = np.array([-np.inf, self.surface.ends[0], 0.0])
        high = np.array([np.inf, self.surface.ends[1], self._outside])
        radius = self.inflated.stress_free_position(through, self.along(where))[:, 0]
        present, stress_free = np.empty((2, len(at), 3, 3))
        for i, extent in enumerate((1.0, high[1] - low[1], high[2])):
            step = _STEP * extent * np.eye(3)[i]
            after, before = np.clip(at + step, low, high), np.clip(at - step, low, high)
            span = (after - before)[:, i, None]
            present[:, :, i] = (self._position(*_split(after)) - self._position(*_split(before))) / span
            flat = self._stress_free(*_split(after)) - self._stress_free(*_split(before))
            stress_free[:, ::2, i] = flat / span
            stress_free[:, 1, i] = radius if i == 0 else 0.0
        return stress_free @ np.linalg.inv(present)

    def _stress_free(self, where: FloatArray, through: FloatArray) -> FloatArray:
        return self.inflated.stress_free_position(through, self.along(where))

    def _tangent(self, through: FloatArray, along: FloatArray) -> FloatArray:
        """Unit tangent R, Z along the stress-free wall."""
        slope = self.inflated.stress_free_derivative(through, along)
        return np.asarray(slope / np.linalg.norm(slope, axis=1)[:, None])


def _depth_ratio(volume: FloatArray, bend: FloatArray, gauss: FloatArray) -> FloatArray:
    """Ratio of the depth d that encloses a volume under a curved face to the depth under a flat face.

    The volume per area is d - H d² + K d³ / 3 (Steiner's formula), where 2 H is the sum of the principal
    curvatures (``bend``) and K their product (``gauss``).
    """
    depth = volume
    for _ in range(_NEWTON_STEPS):
        missing = volume - depth * (1 - depth * (bend / 2 - gauss * depth / 3))
        depth = depth + missing / (1 - depth * (bend - gauss * depth))
    return np.asarray(1 / (1 - depth * (bend / 2 - gauss * depth / 3)))


def _split(at: FloatArray) -> tuple[FloatArray, FloatArray]:
    return at[:, :2], at[:, 2]
