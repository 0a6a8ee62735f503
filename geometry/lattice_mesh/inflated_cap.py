# SPDX-License-Identifier: MIT
"""A cap of a tube as inflated: where its points lie, and the gradient back to their stress-free places."""

from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np

from annelid.geometry.body import FloatArray
from annelid.geometry.meshing.revolve import cylindrical_to_cartesian

if TYPE_CHECKING:
    from scipy.interpolate import RectBivariateSpline

_ON_AXIS = 1e-9  # of the radius
_ACROSS = 2  # degree of the splines through a cap


@dataclass(frozen=True)
class InflatedCap:
    """A cap as inflated, a smooth function of the stress-free place.

    Attributes:
        radius: Distances from the axis, ascending from 0, shape (p,), mm.
        height: Heights Z, ascending, shape (q,), mm.
        inflated: Inflated positions R, Z at these, shape (p, q, 2), mm.
    """

    radius: FloatArray
    height: FloatArray
    inflated: FloatArray

    @cached_property
    def _splines(self) -> "tuple[RectBivariateSpline, ...]":
        """Inflated R and Z over stress-free R and Z, mirrored at the axis so that they are smooth over it."""
        from scipy.interpolate import RectBivariateSpline

        R = np.concatenate([-self.radius[:0:-1], self.radius])
        return tuple(
            RectBivariateSpline(
                R, self.height, np.concatenate([sign * value[:0:-1], value]), kx=3, ky=_ACROSS, s=0
            )
            for value, sign in zip(np.moveaxis(self.inflated, -1, 0), (-1.0, 1.0), strict=True)
        )

    def present(self, points: FloatArray) -> FloatArray:
        """Return where stress-free points, shape (k, 3), lie as inflated, shape (k, 3), mm."""
        R, angle = np.hypot(points[:, 0], points[:, 1]), np.arctan2(points[:, 1], points[:, 0])
        flat = np.column_stack([spline.ev(R, points[:, 2]) for spline in self._splines])
        return cylindrical_to_cartesian(flat, angle)

    def natural(self, points: FloatArray) -> FloatArray:
        """Return the gradient of the stress-free place over the inflated one, along X, Y, Z, (k, 3, 3)."""
        R, Z = np.hypot(points[:, 0], points[:, 1]), points[:, 2]
        grown = np.zeros((len(points), 3, 3))  # along R, hoop, Z
        for row, spline in zip((0, 2), self._splines, strict=True):
            grown[:, row, 0], grown[:, row, 2] = spline.ev(R, Z, dx=1), spline.ev(R, Z, dy=1)
        on_axis = _ON_AXIS * self.radius[-1] > R  # there all directions around are alike
        r = self._splines[0].ev(R, Z)
        grown[:, 1, 1] = np.where(on_axis, grown[:, 0, 0], r / np.where(on_axis, 1.0, R))
        x, y = np.where(on_axis, [[1.0], [0.0]], points[:, :2].T / np.where(on_axis, 1.0, R))
        axes = np.zeros_like(grown)  # rows e_R, e_hoop, e_Z
        axes[:, 0, 0], axes[:, 0, 1], axes[:, 1, 0], axes[:, 1, 1] = x, y, -y, x
        axes[:, 2, 2] = 1.0
        return np.asarray(np.swapaxes(axes, 1, 2) @ np.linalg.inv(grown) @ axes)
