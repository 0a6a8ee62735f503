# SPDX-License-Identifier: MIT
"""A wall as inflated whose outer face was measured: its material lies there as the inflation has put it.

What lies at an angle and a share of the meridian's length of the inflated face, seen from its low end, lies
at the same angle and share of the measured one. The wall is as thick there as its volume leaves it.
"""

from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from annelid.geometry.body import FloatArray
from annelid.geometry.lattice.chart import PERIOD
from annelid.geometry.lattice.measured_chart import MeasuredChart
from annelid.geometry.lattice.measured_surface import RadialSurface
from annelid.geometry.lattice_mesh.extruded_body import Laid
from annelid.geometry.lattice_mesh.inflated_wall import InflatedWall
from annelid.geometry.meshing.revolve import cylindrical_to_cartesian

if TYPE_CHECKING:
    from scipy.interpolate import CubicSpline

_PLACES = 801  # along the wall at which lengths are tabulated
_SPREAD = 101  # places either way of an even grid over the face
_NEWTON = 4
_STEP = 1e-5  # of an extent, for differences


class Deviation(NamedTuple):
    """How far a measured face lies from the computed one.

    Attributes:
        largest: Along the normal of the measured one, mm.
        mean_square_root: The same over the face, mm.
        longer: How much longer the measured one is along the axis, mm.
    """

    largest: float
    mean_square_root: float
    longer: float


@dataclass(frozen=True)
class MeasuredWall:
    """A wall as inflated with a measured outer face.

    Attributes:
        inflated: The wall as its inflation was computed, of revolution.
        surface: The measured face.
    """

    inflated: InflatedWall
    surface: RadialSurface

    @cached_property
    def chart(self) -> MeasuredChart:
        """Chart of the measured face, on which the lattice lies."""
        return MeasuredChart(self.surface)

    @property
    def _outside(self) -> float:
        """Stress-free distance of the outer face from the inner one, mm."""
        return float(self.inflated.grid.through[-1])

    @cached_property
    def _along_at(self) -> "CubicSpline":
        """Stress-free place along the wall over the share of the length of the inflated outer face."""
        from scipy.interpolate import CubicSpline

        low, high = self.inflated.grid.along[[0, -1]]
        along = np.linspace(low, high, _PLACES)
        position = self.inflated.present(np.full(_PLACES, self._outside), along)
        length = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(position, axis=0), axis=1))])
        return CubicSpline(length / length[-1], along)

    def along(self, where: FloatArray) -> FloatArray:
        """Return the stress-free place along the wall of what lies at angles and heights, shape (k,), mm."""
        return np.asarray(self._along_at(np.clip(self.surface.arc_fraction(where), 0.0, 1.0)))

    def v_at_height(self, height: float) -> float:
        """Return v of the line on which what was at a stress-free height lies on the whole, mm."""
        u, v = np.linspace(0.0, PERIOD, 73)[:-1], np.linspace(self.chart.low, self.chart.high, 201)
        grid = np.stack(np.meshgrid(u, v, indexing="ij"), axis=-1).reshape(-1, 2)
        mean = self.along(self.chart.coordinates(grid)).reshape(len(u), len(v)).mean(axis=0)
        return float(np.interp(self.inflated.along_at_height(height), mean, v))

    def place(self, points: FloatArray, depth: FloatArray) -> Laid:
        """Put points (u, v) at a depth over the lattice's surface, as :meth:`InflatedWall.place`."""
        where, through = self.chart.coordinates(points), self._outside + depth
        inside = np.clip(through, 0.0, self._outside)
        normal = self.surface.normal(where)
        position = self._position(where, inside) + (through - inside)[:, None] * normal
        return Laid(position, normal, self.chart.hoop(points))

    def rest(self, points: FloatArray, depth: FloatArray) -> FloatArray:
        """Return the stress-free places X, Y, Z of points of the wall, shape (k, 3), mm."""
        where = self.chart.coordinates(points)
        through = np.clip(self._outside + depth, 0.0, self._outside)
        return cylindrical_to_cartesian(self._stress_free(where, through), where[:, 0])

    def natural(self, points: FloatArray, depth: FloatArray) -> FloatArray:
        """Return the gradient of the stress-free place at points of the wall, shape (k, 3, 3).

        Beyond the faces of the wall the values are those at the faces.
        """
        where = self.chart.coordinates(points)
        through = np.clip(self._outside + depth, 0.0, self._outside)
        gradient = self._gradient(where, through)
        normal, hoop = self.surface.normal(where), self.chart.hoop(points)
        here = np.stack([normal, hoop, np.cross(normal, hoop)], axis=1)
        tangent = self._tangent(through, self.along(where))
        there = np.zeros_like(here)  # rows normal, hoop, axial in R, hoop, Z
        there[:, 0, 0], there[:, 0, 2] = tangent[:, 1], -tangent[:, 0]
        there[:, 1, 1] = 1.0
        there[:, 2, ::2] = tangent
        return np.asarray(there @ gradient @ np.swapaxes(here, 1, 2))

    @cached_property
    def deviation(self) -> Deviation:
        """How far the measured face lies from the inflated one."""
        where = self.surface.sample_grid(_SPREAD)
        outer = np.full(len(where), self._outside)
        computed = cylindrical_to_cartesian(self.inflated.present(outer, self.along(where)), where[:, 0])
        off = np.einsum("ki,ki->k", self.surface.position(where) - computed, self.surface.normal(where))
        ends = self.inflated.present(outer[:2], self.inflated.grid.along[[0, -1]])
        longer = float(np.ptp(self.surface.heights) - np.ptp(ends[:, 1]))
        return Deviation(float(np.abs(off).max()), float(np.sqrt(np.mean(off**2))), longer)

    def _position(self, where: FloatArray, through: FloatArray) -> FloatArray:
        """Present positions: as deep under the face as computed, but for the volume in between."""
        face, along = self.surface, self.along(where)
        stretch = self._along_at(face.arc_fraction(where), 1) * face.arc_fraction(where, orders=(0, 1))
        tangents = face.tangents(where)
        area = np.linalg.norm(np.cross(tangents[:, :, 0], tangents[:, :, 1]), axis=1)
        metric, turning = (
            np.einsum("kia,kib->kab", tangents, other) for other in (tangents, face.normal_derivatives(where))
        )
        bend = np.linalg.solve(metric, turning)
        computed = self.inflated.outer_face(along)
        volume = self.inflated.volume_beyond(through, along)
        here = _deepening(volume * stretch / area, np.trace(bend, axis1=1, axis2=2), np.linalg.det(bend))
        there = _deepening(volume / computed.area, computed.bend.sum(axis=1), computed.bend.prod(axis=1))
        scale = stretch * computed.area / area * here / there
        inwards, back = (scale[:, None] * self.inflated.under(through, along)).T
        axial = tangents[:, :, 1] / np.linalg.norm(tangents[:, :, 1], axis=1)[:, None]
        return face.position(where) - inwards[:, None] * face.normal(where) - back[:, None] * axial

    def _gradient(self, where: FloatArray, through: FloatArray) -> FloatArray:
        """Gradient of the stress-free place (along R, hoop and Z) over the present one (X, Y, Z)."""
        at = np.column_stack([where, through])
        low = np.array([-np.inf, self.surface.ends[0], 0.0])
        high = np.array([np.inf, self.surface.ends[1], self._outside])
        radius = self.inflated.stress_free(through, self.along(where))[:, 0]
        here, there = np.empty((2, len(at), 3, 3))
        for i, extent in enumerate((1.0, high[1] - low[1], high[2])):
            step = _STEP * extent * np.eye(3)[i]
            after, before = np.clip(at + step, low, high), np.clip(at - step, low, high)
            span = (after - before)[:, i, None]
            here[:, :, i] = (self._position(*_parted(after)) - self._position(*_parted(before))) / span
            flat = self._stress_free(*_parted(after)) - self._stress_free(*_parted(before))
            there[:, ::2, i] = flat / span
            there[:, 1, i] = radius if i == 0 else 0.0
        return there @ np.linalg.inv(here)

    def _stress_free(self, where: FloatArray, through: FloatArray) -> FloatArray:
        return self.inflated.stress_free(through, self.along(where))

    def _tangent(self, through: FloatArray, along: FloatArray) -> FloatArray:
        """Unit tangent R, Z along the stress-free wall."""
        slope = self.inflated.stress_free_slope(through, along)
        return np.asarray(slope / np.linalg.norm(slope, axis=1)[:, None])


def _deepening(volume: FloatArray, bend: FloatArray, gauss: FloatArray) -> FloatArray:
    """Depth d under a curved face that holds a volume, over the depth that would under a flat one.

    The volume a face area is d - H d² + K d³ / 3 (Steiner's formula), with the sum 2 H of the principal
    curvatures and their product K.
    """
    depth = volume
    for _ in range(_NEWTON):
        missing = volume - depth * (1 - depth * (bend / 2 - gauss * depth / 3))
        depth = depth + missing / (1 - depth * (bend - gauss * depth))
    return np.asarray(1 / (1 - depth * (bend / 2 - gauss * depth / 3)))


def _parted(at: FloatArray) -> tuple[FloatArray, FloatArray]:
    return at[:, :2], at[:, 2]
