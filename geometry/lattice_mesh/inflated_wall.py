# SPDX-License-Identifier: MIT
"""An inflated wall of revolution: its chart, and the gradient of its stress-free positions."""

from dataclasses import dataclass
from functools import cached_property
from typing import Any, NamedTuple

import numpy as np

from annelid.geometry.body import FloatArray
from annelid.geometry.lattice.chart import RevolutionChart
from annelid.geometry.lattice_mesh.extruded_body import WallPoints
from annelid.geometry.lattice_mesh.inflated_cap import InflatedCap
from annelid.geometry.lattice_mesh.wall_grid import WallGrid
from annelid.geometry.meshing.revolve import cylindrical_to_cartesian
from annelid.geometry.shapes.meridian import Meridian

_ON_AXIS = 1e-9  # of the largest radius
_GAUSS = 4  # points through the wall
_SAMPLES = 4001  # points along the wall of tables of heights
_MIRROR_POINTS = 8  # points along the wall mirrored beyond a pole, so that splines are smooth there


class FacePoints(NamedTuple):
    """Points of a face of revolution.

    Attributes:
        position: R, Z, shape (k, 2), mm.
        tangent: Unit tangent of the meridian, shape (k, 2).
        curvatures: Principal curvatures along and around, positive where convex, shape (k, 2), 1/mm.
        area: Area per stress-free length along the wall and per angle around, shape (k,), mm.
    """

    position: FloatArray
    tangent: FloatArray
    curvatures: FloatArray
    area: FloatArray


@dataclass(frozen=True)
class InflatedWall:
    """An inflated wall as a smooth function of the stress-free coordinates through and along it.

    Attributes:
        grid: Coordinates of the grid points: distance from the inner face, and arc length along it.
        stress_free: Stress-free positions R, Z of the grid points, shape (p, q, 2), mm.
        inflated: Inflated positions R, Z of the grid points, shape (p, q, 2), mm.
        depth: Stress-free distance of the surface of the lattice from the inner face, mm.
        caps: The low and the high cap of a capped tube.
    """

    grid: WallGrid
    stress_free: FloatArray
    inflated: FloatArray
    depth: float
    caps: tuple[InflatedCap, ...] = ()

    @cached_property
    def _splines(self) -> list[Any]:
        """Stress-free R and Z, and inflated R and Z, as functions of (through, along)."""
        from scipy.interpolate import RectBivariateSpline

        x, y = self.grid.through, self.grid.along
        kx = min(2, len(x) - 1)
        values = [
            _mirrored(y, value, sign, self._poles)
            for positions in (self.stress_free, self.inflated)
            for value, sign in ((positions[..., 0], -1.0), (positions[..., 1], 1.0))
        ]
        return [RectBivariateSpline(x, along, value, kx=kx, ky=3, s=0) for along, value in values]

    @cached_property
    def _poles(self) -> tuple[bool, bool]:
        """Whether the wall closes on the axis at its low and its high end."""
        radius = np.abs(self.stress_free[:, [0, -1], 0]).max(axis=0)
        low, high = radius < _ON_AXIS * self.stress_free[..., 0].max()
        return bool(low), bool(high)

    @cached_property
    def chart(self) -> RevolutionChart:
        """Chart of the inflated surface on which the lattice lies, with ``along`` as meridian parameter."""

        def curve(q: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
            at = np.full_like(q, self.depth)
            position, first, second = (
                np.column_stack([spline.ev(at, q, dy=order) for spline in self._splines[2:]])
                for order in (0, 1, 2)
            )
            return position, first, second

        ends = float(self.grid.along[0]), float(self.grid.along[-1])
        return RevolutionChart(Meridian("inflated wall", curve, ends))

    def along(self, v: FloatArray) -> FloatArray:
        """Return the stress-free coordinates along the wall at v of the chart, mm."""
        return self.chart.meridian.parameter(self.chart.arc_at(v))

    def v_at_height(self, height: float) -> float:
        """Return v at a stress-free height Z in mm of the inner face."""
        return self._v_at_along(self.along_at_height(height))

    def v_at_radius(self, radius: float) -> float:
        """Return v at a stress-free radius in mm of the inner face of a dome."""
        return self._v_at_along(self._along_at(radius, 0))

    def along_at_height(self, height: float) -> float:
        """Return the coordinate along the wall at a stress-free height Z of the inner face, mm."""
        return self._along_at(height, 1)

    def _along_at(self, value: float, component: int) -> float:
        """Coordinate along the wall at a value of R (component 0) or Z (1) of the stress-free inner face."""
        y = np.linspace(self.grid.along[0], self.grid.along[-1], _SAMPLES)
        values = self._splines[component].ev(np.zeros_like(y), y)
        order = np.argsort(values)
        return float(np.interp(value, values[order], y[order]))

    def _v_at_along(self, along: float) -> float:
        v = np.linspace(self.chart.low, self.chart.high, _SAMPLES)
        return float(np.interp(along, self.along(v), v))

    def stress_free_position(self, through: FloatArray, along: FloatArray) -> FloatArray:
        """Return the stress-free positions R, Z of points of the wall, shape (k, 2), mm."""
        return np.column_stack([spline.ev(through, along) for spline in self._splines[:2]])

    def stress_free_derivative(self, through: FloatArray, along: FloatArray) -> FloatArray:
        """Return the derivatives of the stress-free positions R, Z along the wall, shape (k, 2)."""
        return np.column_stack([spline.ev(through, along, dy=1) for spline in self._splines[:2]])

    def inflated_position(self, through: FloatArray, along: FloatArray) -> FloatArray:
        """Return the inflated positions R, Z of points of the wall, shape (k, 2), mm."""
        return np.column_stack([spline.ev(through, along) for spline in self._splines[2:]])

    def outer_face(self, along: FloatArray) -> FacePoints:
        """Return points of the inflated outer face at coordinates along the wall."""
        at = np.full(len(along), self.grid.through[-1])
        (r, z), (r1, z1), (r2, z2) = (
            [spline.ev(at, along, dy=order) for spline in self._splines[2:]] for order in (0, 1, 2)
        )
        speed = np.hypot(r1, z1)
        curvatures = np.column_stack([(r1 * z2 - z1 * r2) / speed**3, z1 / (speed * r)])
        return FacePoints(
            np.column_stack([r, z]), np.column_stack([r1, z1]) / speed[:, None], curvatures, r * speed
        )

    def offset_from_face(self, through: FloatArray, along: FloatArray) -> FloatArray:
        """Return the inflated offset of points from the outer face at the same coordinate along the wall.

        Returns:
            Distances inwards along the normal and backwards along the tangent of the face, shape (k, 2), mm.
        """
        face = self.outer_face(along)
        offset, tangent = face.position - self.inflated_position(through, along), face.tangent
        inwards = offset[:, 0] * tangent[:, 1] - offset[:, 1] * tangent[:, 0]
        return np.column_stack([inwards, np.einsum("ki,ki->k", offset, tangent)])

    def volume_outside(self, through: FloatArray, along: FloatArray) -> FloatArray:
        """Return the stress-free volume outside of points, per length along and angle around, (k,), mm²."""
        nodes, weights = np.polynomial.legendre.leggauss(_GAUSS)
        half = (self.grid.through[-1] - through) / 2
        at = through[:, None] + half[:, None] * (1 + nodes)
        y = np.broadcast_to(along[:, None], at.shape)
        radius, (Rx, Zx), (Ry, Zy) = (
            self._splines[0].ev(at, y),
            *([spline.ev(at, y, dx=dx, dy=1 - dx) for spline in self._splines[:2]] for dx in (1, 0)),
        )
        return np.asarray(half * ((radius * (Rx * Zy - Zx * Ry)) @ weights))

    def _local_gradient(self, through: FloatArray, along: FloatArray, normal: FloatArray) -> FloatArray:
        """Gradient of the stress-free positions, as in ``Body.stress_free_gradient``, shape (k, 3, 3).

        Args:
            through: Coordinates through the wall, shape (k,), mm.
            along: Coordinates along the wall, shape (k,), mm.
            normal: Inflated wall normals R, Z, shape (k, 2).
        """
        slopes = [
            np.stack([spline.ev(through, along, dx=1), spline.ev(through, along, dy=1)], axis=-1)
            for spline in self._splines
        ]
        # Each of shape (k, 2, 2): derivatives of R and Z (rows) through and along the wall (columns).
        stress_free, inflated = np.stack(slopes[:2], axis=1), np.stack(slopes[2:], axis=1)
        gradient = stress_free @ np.linalg.inv(inflated)
        tangent = stress_free[:, :, 1] / np.linalg.norm(stress_free[:, :, 1], axis=1, keepdims=True)
        # Rows: normal and axial direction.
        free_axes = np.stack([np.column_stack([tangent[:, 1], -tangent[:, 0]]), tangent], axis=1)
        inflated_axes = np.stack([normal, np.column_stack([-normal[:, 1], normal[:, 0]])], axis=1)
        local = free_axes @ gradient @ np.swapaxes(inflated_axes, 1, 2)
        R, r = (self._splines[i].ev(through, along) for i in (0, 2))
        at_pole = np.abs(R) < _ON_AXIS * self.stress_free[..., 0].max()  # hoop and axial are equivalent there
        hoop = np.where(at_pole, local[:, 1, 1], R / np.where(at_pole, 1.0, r))
        gradients = np.zeros((len(hoop), 3, 3))
        gradients[:, ::2, ::2], gradients[:, 1, 1] = local, hoop
        return gradients

    def place(self, points: FloatArray, depth: FloatArray) -> WallPoints:
        """Return inflated positions of points (u, v) at depths; points in the wall follow its material.

        Args:
            points: Points of the chart, shape (k, 2).
            depth: Distances from the surface of the lattice, shape (k,), mm; stress-free distances within the
                wall, true distances beyond its faces.
        """
        on_normal = self.chart.place(points, depth)
        through, inside = self._clamped(depth)
        in_wall = cylindrical_to_cartesian(
            self.inflated_position(through, self.along(points[:, 1])), points[:, 0]
        )
        position = np.where(inside[:, None], in_wall, on_normal.position)
        return WallPoints(position, on_normal.normal, self.chart.hoop(points))

    def stress_free_points(self, points: FloatArray, depth: FloatArray) -> FloatArray:
        """Return stress-free positions X, Y, Z, shape (k, 3), mm; beyond the faces along the radius."""
        through, _ = self._clamped(depth)
        flat = self.stress_free_position(through, self.along(points[:, 1]))
        flat[:, 0] += self.depth + depth - through
        return cylindrical_to_cartesian(flat, points[:, 0])

    def stress_free_gradient(self, points: FloatArray, depth: FloatArray) -> FloatArray:
        """Return the gradient of the stress-free position, as in ``Body``, shape (k, 3, 3).

        Beyond the faces of the wall the values are those at the faces.
        """
        through, _ = self._clamped(depth)
        u = points[:, 0]
        x, y, z = self.chart.place(points, depth).normal.T
        normal = np.column_stack([x * np.cos(u) + y * np.sin(u), z])
        return self._local_gradient(through, self.along(points[:, 1]), normal)

    def _clamped(self, depth: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Distances from the inner face, limited to the wall, and whether the depths are in the wall."""
        through = self.depth + depth
        thickness = self.grid.through[-1]
        tolerance = 1e-9 * thickness
        inside = (through > -tolerance) & (through < thickness + tolerance)
        return np.clip(through, 0.0, thickness), inside


def _mirrored(
    along: FloatArray, values: FloatArray, sign: float, poles: tuple[bool, bool]
) -> tuple[FloatArray, FloatArray]:
    """Coordinates along a wall and values there, mirrored beyond its poles, where radii change their sign."""
    count = min(_MIRROR_POINTS, len(along) - 1)
    if poles[0]:
        along = np.concatenate([2 * along[0] - along[count:0:-1], along])
        values = np.concatenate([sign * values[:, count:0:-1], values], axis=1)
    if poles[1]:
        along = np.concatenate([along, 2 * along[-1] - along[-2 : -2 - count : -1]])
        values = np.concatenate([values, sign * values[:, -2 : -2 - count : -1]], axis=1)
    return along, values
