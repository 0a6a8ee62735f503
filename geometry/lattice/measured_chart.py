# SPDX-License-Identifier: MIT
"""The conformal chart of a measured surface, or of a surface parallel to it, computed numerically."""

import math
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import ArrayLike

from annelid.geometry.body import FloatArray
from annelid.geometry.checks import within
from annelid.geometry.errors import InputError
from annelid.geometry.lattice.chart import PERIOD, SurfacePoints
from annelid.geometry.lattice.harmonic_map import harmonic_map
from annelid.geometry.lattice.measured_surface import RadialSurface, wrapped

if TYPE_CHECKING:
    from scipy.interpolate import NdBSpline

_NEWTON_STEPS = 30
_GRID = 211  # points in either direction at which angles and folds are checked
_TOLERANCE = 1e-9  # mm


@dataclass(frozen=True)
class MeasuredChart:
    """Chart of a measured surface between two end rings, or of a surface at a distance from it.

    A point is identified by the angle and height of the nearest point of the measured surface.

    Attributes:
        surface: The measured surface.
        offset: Distance from the measured surface along its normal, mm.

    Raises:
        InputError: If the surface at this distance folds.
    """

    surface: RadialSurface
    offset: float = 0.0

    def __post_init__(self) -> None:
        tangents, derivatives = (
            self.surface.tangents(self.surface.sample_grid(_GRID)),
            self._derivatives(self.surface.sample_grid(_GRID)),
        )
        metric, mixed = (np.einsum("kia,kib->kab", tangents, other) for other in (tangents, derivatives))
        if np.linalg.eigvals(np.linalg.solve(metric, mixed)).real.min() <= 0.0:  # principal stretches
            raise InputError(
                f"the surface {self.offset:g} mm from the measured one folds; make the wall thinner or "
                "smooth the measurement",
                offset=self.offset,
            )

    @cached_property
    def _map(self) -> "tuple[NdBSpline, NdBSpline]":
        """The functions u - theta and v of theta and Z."""
        return harmonic_map(self._derivatives, *self.surface.ends)

    @property
    def of_revolution(self) -> bool:
        """Whether this is a surface of revolution."""
        return False

    @property
    def low(self) -> float:
        """Least v."""
        return 0.0

    @cached_property
    def high(self) -> float:
        """Largest v."""
        return float(self._map[1](np.array([[0.0, self.surface.ends[1]]]))[0])

    @cached_property
    def angle_error(self) -> float:
        """Largest difference between an angle on the surface and in the chart on a fine grid, degrees."""
        where = self.surface.sample_grid(_GRID)
        stretches = np.linalg.svd(self._derivatives(where) @ np.linalg.inv(self._uv_derivatives(where)))[1]
        ratio = stretches[:, 0] / stretches[:, 1]
        return float(np.degrees(2 * np.arcsin((ratio - 1) / (ratio + 1))).max())

    def place(self, points: FloatArray, offset: FloatArray | float = 0.0) -> SurfacePoints:
        """Return the points at (u, v), shape (k, 2), at a distance along the normal in mm."""
        where = self.coordinates(points)
        normal = self.surface.normal(where)
        return SurfacePoints(
            self.surface.position(where) + (self.offset + np.asarray(offset))[..., None] * normal, normal
        )

    def hoop(self, points: FloatArray) -> FloatArray:
        """Return the unit tangents at constant height at points (u, v), shape (k, 3)."""
        along = self._derivatives(self.coordinates(points))[:, :, 0]
        return np.asarray(along / np.linalg.norm(along, axis=1)[:, None])

    def v_at_height(self, height: float, key: str) -> float:
        """Return v of the line of constant v that has a given mean height around, mm.

        Raises:
            InputError: If the height is outside of the surface.
        """
        low, high = self.surface.ends
        if not math.isclose(height, low if height < low else high, abs_tol=_TOLERANCE):
            within(key, height, least=low, most=high, unit="mm", why="where the surface was measured")
        u, v = np.linspace(0.0, PERIOD, 73)[:-1], np.linspace(self.low, self.high, 201)
        grid = np.stack(np.meshgrid(u, v, indexing="ij"), axis=-1).reshape(-1, 2)
        mean = self.coordinates(grid)[:, 1].reshape(len(u), len(v)).mean(axis=0)
        mean[[0, -1]] = low, high
        return float(np.interp(height, mean, v))

    def scale(self, points: FloatArray) -> FloatArray:
        """Return the length of one unit of u or v at points (u, v), shape (k,), mm."""
        where = self.coordinates(points)
        area = np.linalg.norm(np.cross(*np.moveaxis(self._derivatives(where), 2, 0)), axis=1)
        return np.asarray(np.sqrt(area / np.linalg.det(self._uv_derivatives(where))))

    def coordinates(self, points: FloatArray) -> FloatArray:
        """Return angle (rad, with its whole turns) and height (mm) of points (u, v), shape (k, 2)."""
        low, high = self.surface.ends
        target = np.column_stack([points[:, 0], np.clip(points[:, 1], self.low, self.high)])
        where = np.column_stack([points[:, 0], low + target[:, 1] / self.high * (high - low)])
        for _ in range(_NEWTON_STEPS):
            residual = target - self._uv(where)
            step = np.linalg.solve(self._uv_derivatives(where), residual[:, :, None])[:, :, 0]
            where = where + step
            where[:, 1] = np.clip(where[:, 1], low, high)
            if np.abs(step).max(initial=0.0) < 1e-13 * (high - low):
                break
        return where

    def _uv(self, where: FloatArray) -> FloatArray:
        inside = wrapped(where)
        shift, v = self._map
        return np.column_stack([where[:, 0] + shift(inside), v(inside)])

    def _uv_derivatives(self, where: FloatArray) -> FloatArray:
        """Derivatives of (u, v) by angle and height, shape (k, 2, 2)."""
        inside = wrapped(where)
        rows = [np.stack([part(inside, nu=(1, 0)), part(inside, nu=(0, 1))], axis=-1) for part in self._map]
        slopes = np.stack(rows, axis=1)
        slopes[:, 0, 0] += 1.0
        return slopes

    def _derivatives(self, where: FloatArray) -> FloatArray:
        """Derivatives of the position by angle and height, shape (k, 3, 2)."""
        tangents = self.surface.tangents(where)
        return tangents + self.offset * self.surface.normal_derivatives(where) if self.offset else tangents


def measured_chart(heights: ArrayLike, radii: ArrayLike, *, offset: float = 0.0) -> MeasuredChart:
    """Return the chart of a measured surface; the arguments are those of :class:`RadialSurface`."""
    given = (np.asarray(values, dtype=np.float64) for values in (heights, radii))
    return MeasuredChart(RadialSurface(*given), offset)
