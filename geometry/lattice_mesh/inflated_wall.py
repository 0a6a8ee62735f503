# SPDX-License-Identifier: MIT
"""A wall of revolution as inflated: its new surface, and how much longer it is there than stress-free."""

from dataclasses import dataclass
from functools import cached_property
from typing import Any, NamedTuple

import numpy as np

from annelid.geometry.body import FloatArray
from annelid.geometry.lattice.chart import RevolutionChart
from annelid.geometry.lattice_mesh.extruded_body import Laid
from annelid.geometry.lattice_mesh.inflated_cap import InflatedCap
from annelid.geometry.lattice_mesh.wall_grid import WallGrid
from annelid.geometry.meshing.revolve import cylindrical_to_cartesian
from annelid.geometry.shapes.meridian import Meridian

_ON_AXIS = 1e-9  # of the largest radius
_GAUSS = 4  # points through the wall
_LOOKS = 4001  # places along the wall at which heights are looked up
_MIRRORED = 8  # places along the wall mirrored beyond a pole, so that splines are smooth over it


class Face(NamedTuple):
    """A face of revolution at some places along it.

    Attributes:
        position: R, Z, shape (k, 2), mm.
        tangent: Unit tangent along it, shape (k, 2).
        bend: Principal curvatures along and around, positive where convex, shape (k, 2), 1/mm.
        area: Of it, per mm along stress-free and rad around, shape (k,), mm.
    """

    position: FloatArray
    tangent: FloatArray
    bend: FloatArray
    area: FloatArray


@dataclass(frozen=True)
class InflatedWall:
    """A wall as inflated, a smooth function of the stress-free place through and along it.

    Attributes:
        grid: Stress-free places.
        drawn: Stress-free positions R, Z on the grid, shape (p, q, 2), mm.
        inflated: Inflated positions, shape (p, q, 2), mm.
        depth: Distance from the inner face at which the lattice's surface lies, mm stress-free.
        caps: The low and the high cap of a capped tube.
    """

    grid: WallGrid
    drawn: FloatArray
    inflated: FloatArray
    depth: float
    caps: tuple[InflatedCap, ...] = ()

    @cached_property
    def _splines(self) -> list[Any]:
        """R and Z stress-free, R and Z inflated, over (through, along)."""
        from scipy.interpolate import RectBivariateSpline

        x, y = self.grid.through, self.grid.along
        kx = min(2, len(x) - 1)
        values = [
            _beyond(y, value, sign, self._poles)
            for drawing in (self.drawn, self.inflated)
            for value, sign in ((drawing[..., 0], -1.0), (drawing[..., 1], 1.0))
        ]
        return [RectBivariateSpline(x, place, value, kx=kx, ky=3, s=0) for place, value in values]

    @cached_property
    def _poles(self) -> tuple[bool, bool]:
        """Whether the wall closes on the axis at its low and its high end."""
        radius = np.abs(self.drawn[:, [0, -1], 0]).max(axis=0)
        low, high = radius < _ON_AXIS * self.drawn[..., 0].max()
        return bool(low), bool(high)

    @cached_property
    def chart(self) -> RevolutionChart:
        """Chart of the inflated surface on which the lattice lies; the meridian's parameter is ``along``."""

        def curve(q: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
            at = np.full_like(q, self.depth)
            found = [
                np.column_stack([spline.ev(at, q, dy=order) for spline in self._splines[2:]])
                for order in (0, 1, 2)
            ]
            return found[0], found[1], found[2]

        ends = float(self.grid.along[0]), float(self.grid.along[-1])
        return RevolutionChart(Meridian("inflated wall", curve, ends))

    def along(self, v: FloatArray) -> FloatArray:
        """Return the stress-free places along the wall over v of the chart, mm."""
        return self.chart.meridian.parameter(self.chart.arc_at(v))

    def v_at_height(self, height: float) -> float:
        """Return v over the stress-free height Z of the inner face, mm."""
        return self._v_over(self.along_at_height(height))

    def v_at_radius(self, radius: float) -> float:
        """Return v over the stress-free radius of the inner face of a dome, mm."""
        return self._v_over(self._place_at(radius, 0))

    def along_at_height(self, height: float) -> float:
        """Return the place along the wall at a stress-free height Z of the inner face, mm."""
        return self._place_at(height, 1)

    def _place_at(self, value: float, component: int) -> float:
        """Place along the wall at which R (0) or Z (1) of the stress-free inner face is given, mm."""
        y = np.linspace(self.grid.along[0], self.grid.along[-1], _LOOKS)
        values = self._splines[component].ev(np.zeros_like(y), y)
        order = np.argsort(values)
        return float(np.interp(value, values[order], y[order]))

    def _v_over(self, along: float) -> float:
        v = np.linspace(self.chart.low, self.chart.high, _LOOKS)
        return float(np.interp(along, self.along(v), v))

    def stress_free(self, through: FloatArray, along: FloatArray) -> FloatArray:
        """Return stress-free positions R, Z of places in the wall, shape (k, 2), mm."""
        return np.column_stack([spline.ev(through, along) for spline in self._splines[:2]])

    def stress_free_slope(self, through: FloatArray, along: FloatArray) -> FloatArray:
        """Return derivatives of stress-free positions R, Z by the place along the wall, shape (k, 2)."""
        return np.column_stack([spline.ev(through, along, dy=1) for spline in self._splines[:2]])

    def present(self, through: FloatArray, along: FloatArray) -> FloatArray:
        """Return inflated positions R, Z of places in the wall, shape (k, 2), mm."""
        return np.column_stack([spline.ev(through, along) for spline in self._splines[2:]])

    def outer_face(self, along: FloatArray) -> Face:
        """Return the inflated outer face at places along the wall."""
        at = np.full(len(along), self.grid.through[-1])
        (r, z), (r1, z1), (r2, z2) = (
            [spline.ev(at, along, dy=order) for spline in self._splines[2:]] for order in (0, 1, 2)
        )
        speed = np.hypot(r1, z1)
        bend = np.column_stack([(r1 * z2 - z1 * r2) / speed**3, z1 / (speed * r)])
        return Face(np.column_stack([r, z]), np.column_stack([r1, z1]) / speed[:, None], bend, r * speed)

    def under(self, through: FloatArray, along: FloatArray) -> FloatArray:
        """Return how far places lie under the inflated outer face, and back along it, shape (k, 2), mm."""
        face = self.outer_face(along)
        away, tangent = face.position - self.present(through, along), face.tangent
        across = away[:, 0] * tangent[:, 1] - away[:, 1] * tangent[:, 0]
        return np.column_stack([across, np.einsum("ki,ki->k", away, tangent)])

    def volume_beyond(self, through: FloatArray, along: FloatArray) -> FloatArray:
        """Return the volume of the wall outside of places in it, per mm along and rad around, mm²."""
        nodes, weights = np.polynomial.legendre.leggauss(_GAUSS)
        half = (self.grid.through[-1] - through) / 2
        at = through[:, None] + half[:, None] * (1 + nodes)
        y = np.broadcast_to(along[:, None], at.shape)
        radius, (Rx, Zx), (Ry, Zy) = (
            self._splines[0].ev(at, y),
            *([spline.ev(at, y, dx=dx, dy=1 - dx) for spline in self._splines[:2]] for dx in (1, 0)),
        )
        return np.asarray(half * ((radius * (Rx * Zy - Zx * Ry)) @ weights))

    def _shrinkage(self, through: FloatArray, along: FloatArray, normal: FloatArray) -> FloatArray:
        """Gradient of the stress-free place over the inflated one, as a body holds it, shape (k, 3, 3).

        Args:
            through: Places in the wall, shape (k,).
            along: Places in the wall, shape (k,).
            normal: Wall normals R, Z there as inflated, shape (k, 2).
        """
        slopes = [
            np.stack([spline.ev(through, along, dx=1), spline.ev(through, along, dy=1)], axis=-1)
            for spline in self._splines
        ]
        drawn, inflated = np.stack(slopes[:2], axis=1), np.stack(slopes[2:], axis=1)  # (k, R or Z, place)
        gradient = drawn @ np.linalg.inv(inflated)
        there = drawn[:, :, 1] / np.linalg.norm(drawn[:, :, 1], axis=1, keepdims=True)
        free = np.stack([np.column_stack([there[:, 1], -there[:, 0]]), there], axis=1)  # rows normal, axial
        here = np.stack([normal, np.column_stack([-normal[:, 1], normal[:, 0]])], axis=1)
        local = free @ gradient @ np.swapaxes(here, 1, 2)
        R, r = (self._splines[i].ev(through, along) for i in (0, 2))
        at_pole = np.abs(R) < _ON_AXIS * self.drawn[..., 0].max()  # there all directions are alike
        hoop = np.where(at_pole, local[:, 1, 1], R / np.where(at_pole, 1.0, r))
        whole = np.zeros((len(hoop), 3, 3))
        whole[:, ::2, ::2], whole[:, 1, 1] = local, hoop
        return whole

    def place(self, points: FloatArray, depth: FloatArray) -> Laid:
        """Put points (u, v) at a depth over the lattice's surface: in the wall where its material is.

        Args:
            points: In the chart, shape (k, 2).
            depth: Over the surface: within the wall stress-free, beyond its faces true, shape (k,), mm.
        """
        spot = self.chart.place(points, depth)
        through, inside = self._through(depth)
        along = self.along(points[:, 1])
        flat = cylindrical_to_cartesian(self.present(through, along), points[:, 0])
        position = np.where(inside[:, None], flat, spot.position)
        return Laid(position, spot.normal, self.chart.hoop(points))

    def rest(self, points: FloatArray, depth: FloatArray) -> FloatArray:
        """Return the stress-free places X, Y, Z of points of the wall; beyond its faces along the radius."""
        through, _ = self._through(depth)
        flat = self.stress_free(through, self.along(points[:, 1]))
        flat[:, 0] += self.depth + depth - through
        return cylindrical_to_cartesian(flat, points[:, 0])

    def natural(self, points: FloatArray, depth: FloatArray) -> FloatArray:
        """Return the gradient of the stress-free place at points of the wall, shape (k, 3, 3).

        Beyond the faces of the wall the values are those at the faces.
        """
        through, _ = self._through(depth)
        u = points[:, 0]
        x, y, z = self.chart.place(points, depth).normal.T
        normal = np.column_stack([x * np.cos(u) + y * np.sin(u), z])
        return self._shrinkage(through, self.along(points[:, 1]), normal)

    def _through(self, depth: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Distance from the inner face, kept within the wall, and whether a depth lies in it."""
        through = self.depth + depth
        thickness = self.grid.through[-1]
        slip = 1e-9 * thickness
        inside = (through > -slip) & (through < thickness + slip)
        return np.clip(through, 0.0, thickness), inside


def _beyond(
    along: FloatArray, values: FloatArray, sign: float, poles: tuple[bool, bool]
) -> tuple[FloatArray, FloatArray]:
    """Places along a wall and values there, mirrored beyond its poles: radii change their sign."""
    count = min(_MIRRORED, len(along) - 1)
    if poles[0]:
        along = np.concatenate([2 * along[0] - along[count:0:-1], along])
        values = np.concatenate([sign * values[:, count:0:-1], values], axis=1)
    if poles[1]:
        along = np.concatenate([along, 2 * along[-1] - along[-2 : -2 - count : -1]])
        values = np.concatenate([values, sign * values[:, -2 : -2 - count : -1]], axis=1)
    return along, values
