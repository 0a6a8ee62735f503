# SPDX-License-Identifier: MIT
"""A cap of an inflated tube: its inflated positions and the gradient of the stress-free positions."""

from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np

from annelid.geometry.body import FloatArray
from annelid.geometry.meshing.revolve import cylindrical_to_cartesian

if TYPE_CHECKING:
    from scipy.interpolate import RectBivariateSpline

_ON_AXIS = 1e-9  # of the radius
_ACROSS = 2  # degree of the splines through the thickness of a cap


@dataclass(frozen=True)
class InflatedCap:
    """An inflated cap as a smooth function of the stress-free position.

    Attributes:
        radius: Stress-free distances from the axis, ascending from 0, shape (p,), mm.
        height: Stress-free heights Z, ascending, shape (q,), mm.
        inflated: Inflated positions R, Z at these, shape (p, q, 2), mm.
    """

    radius: FloatArray
    height: FloatArray
    inflated: FloatArray

    @cached_property
    def _splines(self) -> "tuple[RectBivariateSpline, ...]":
        """Inflated R and Z as functions of stress-free R and Z, mirrored at the axis to be smooth there."""
        from scipy.interpolate import RectBivariateSpline

        R = np.concatenate([-self.radius[:0:-1], self.radius])
        return tuple(
            RectBivariateSpline(
                R, self.height, np.concatenate([sign * value[:0:-1], value]), kx=3, ky=_ACROSS, s=0
            )
            for value, sign in zip(np.moveaxis(self.inflated, -1, 0), (-1.0, 1.0), strict=True)
        )

    def inflated_points(self, points: FloatArray) -> FloatArray:
        """Return the inflated positions of stress-free points, shape (k, 3), mm."""
        R, angle = np.hypot(points[:, 0], points[:, 1]), np.arctan2(points[:, 1], points[:, 0])
        flat = np.column_stack([spline.ev(R, points[:, 2]) for spline in self._splines])
        return cylindrical_to_cartesian(flat, angle)

    def stress_free_gradient(self, points: FloatArray) -> FloatArray:
        """Return the gradient of the stress-free over the inflated position in X, Y, Z, (k, 3, 3)."""
        R, Z = np.hypot(points[:, 0], points[:, 1]), points[:, 2]
        grown = np.zeros((len(points), 3, 3))  # along R, hoop, Z
        for row, spline in zip((0, 2), self._splines, strict=True):
            grown[:, row, 0], grown[:, row, 2] = spline.ev(R, Z, dx=1), spline.ev(R, Z, dy=1)
        on_axis = _ON_AXIS * self.radius[-1] > R  # there radial and hoop directions are equivalent
        r = self._splines[0].ev(R, Z)
        grown[:, 1, 1] = np.where(on_axis, grown[:, 0, 0], r / np.where(on_axis, 1.0, R))
        x, y = np.where(on_axis, [[1.0], [0.0]], points[:, :2].T / np.where(on_axis, 1.0, R))
        axes = np.zeros_like(grown)  # rows e_R, e_hoop, e_Z
        axes[:, 0, 0], axes[:, 0, 1], axes[:, 1, 0], axes[:, 1, 1] = x, y, -y, x
        axes[:, 2, 2] = 1.0
        return np.asarray(np.swapaxes(axes, 1, 2) @ np.linalg.inv(grown) @ axes)
