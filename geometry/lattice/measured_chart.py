# SPDX-License-Identifier: MIT
"""The conformal chart of a measured surface, or of one parallel to it, found by solving for it."""

from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import ArrayLike

from annelid.geometry.body import FloatArray
from annelid.geometry.checks import within
from annelid.geometry.errors import InputError
from annelid.geometry.lattice.chart import PERIOD, Spot
from annelid.geometry.lattice.harmonic_map import harmonic_map
from annelid.geometry.lattice.measured_surface import RadialSurface

if TYPE_CHECKING:
    from scipy.interpolate import NdBSpline

_NEWTON = 30
_SPREAD = 211  # places either way at which angles and folds are looked at
_SLIP = 1e-9  # mm


@dataclass(frozen=True)
class Measured:
    """Chart of a measured surface between two end rings, or of the surface at a distance from it.

    Places are known by the angle and the height of the measured surface that they lie over.

    Attributes:
        surface: The measured surface.
        offset: Distance from it along its normal, mm.

    Raises:
        InputError: If the parallel surface folds.
    """

    surface: RadialSurface
    offset: float = 0.0

    def __post_init__(self) -> None:
        tangents, forms = (
            self.surface.tangents(self.surface.spread(_SPREAD)),
            self._forms(self.surface.spread(_SPREAD)),
        )
        metric, mixed = (np.einsum("kia,kib->kab", tangents, other) for other in (tangents, forms))
        if np.linalg.eigvals(np.linalg.solve(metric, mixed)).real.min() <= 0.0:  # of how much it is longer
            raise InputError(
                f"surface {self.offset:g} mm off the measured one: it folds; make the wall thinner, or "
                "smooth the measurement",
                offset=self.offset,
            )

    @cached_property
    def _map(self) -> "tuple[NdBSpline, NdBSpline]":
        """The functions u - theta and v over theta and Z."""
        return harmonic_map(self._forms, *self.surface.ends)

    @property
    def of_revolution(self) -> bool:
        """Whether it is the same all around."""
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
        """Largest change of an angle between surface and chart, degrees, on a fine grid."""
        where = self.surface.spread(_SPREAD)
        stretches = np.linalg.svd(self._forms(where) @ np.linalg.inv(self._slopes(where)))[1]
        ratio = stretches[:, 0] / stretches[:, 1]
        return float(np.degrees(2 * np.arcsin((ratio - 1) / (ratio + 1))).max())

    def place(self, points: FloatArray, offset: FloatArray | float = 0.0) -> Spot:
        """Return the places over points (u, v), shape (k, 2), at a height along the normal, mm."""
        where = self.coordinates(points)
        normal = self.surface.normal(where)
        return Spot(
            self.surface.position(where) + (self.offset + np.asarray(offset))[..., None] * normal, normal
        )

    def around(self, points: FloatArray) -> FloatArray:
        """Return the unit tangents at points (u, v) that keep their height, shape (k, 3)."""
        along = self._forms(self.coordinates(points))[:, :, 0]
        return np.asarray(along / np.linalg.norm(along, axis=1)[:, None])

    def at_height(self, height: float, key: str) -> float:
        """Return v of the line of equal v whose mean height around is given, mm.

        Raises:
            InputError: If the surface does not reach there.
        """
        low, high = self.surface.ends
        within(
            key, height, least=low - _SLIP, most=high + _SLIP, unit="mm", why="where the surface was measured"
        )
        u, v = np.linspace(0.0, PERIOD, 73)[:-1], np.linspace(self.low, self.high, 201)
        grid = np.stack(np.meshgrid(u, v, indexing="ij"), axis=-1).reshape(-1, 2)
        mean = self.coordinates(grid)[:, 1].reshape(len(u), len(v)).mean(axis=0)
        mean[[0, -1]] = low, high
        return float(np.interp(height, mean, v))

    def scale(self, points: FloatArray) -> FloatArray:
        """Return how many mm of the surface one unit of u or v is at points (u, v), shape (k,)."""
        where = self.coordinates(points)
        area = np.linalg.norm(np.cross(*np.moveaxis(self._forms(where), 2, 0)), axis=1)
        return np.asarray(np.sqrt(area / np.linalg.det(self._slopes(where))))

    def coordinates(self, points: FloatArray) -> FloatArray:
        """Return angle (rad, of any turn) and height (mm) of points (u, v), shape (k, 2)."""
        low, high = self.surface.ends
        wanted = np.column_stack([points[:, 0], np.clip(points[:, 1], self.low, self.high)])
        where = np.column_stack([points[:, 0], low + wanted[:, 1] / self.high * (high - low)])
        for _ in range(_NEWTON):
            miss = wanted - self._chart(where)
            step = np.linalg.solve(self._slopes(where), miss[:, :, None])[:, :, 0]
            where = where + step
            where[:, 1] = np.clip(where[:, 1], low, high)
            if np.abs(step).max(initial=0.0) < 1e-13 * (high - low):
                break
        return where

    def _chart(self, where: FloatArray) -> FloatArray:
        inside = _wrapped(where)
        turn, v = self._map
        return np.column_stack([where[:, 0] + turn(inside), v(inside)])

    def _slopes(self, where: FloatArray) -> FloatArray:
        """Derivatives of (u, v) by angle and height, shape (k, 2, 2)."""
        inside = _wrapped(where)
        rows = [np.stack([part(inside, nu=(1, 0)), part(inside, nu=(0, 1))], axis=-1) for part in self._map]
        slopes = np.stack(rows, axis=1)
        slopes[:, 0, 0] += 1.0
        return slopes

    def _forms(self, where: FloatArray) -> FloatArray:
        """Derivatives of the position by angle and height, shape (k, 3, 2)."""
        tangents = self.surface.tangents(where)
        return tangents + self.offset * self.surface.normal_slopes(where) if self.offset else tangents


def measured(heights: ArrayLike, radii: ArrayLike, *, offset: float = 0.0) -> Measured:
    """Return the chart of a measured surface; arguments are those of :class:`RadialSurface`."""
    given = (np.asarray(values, dtype=np.float64) for values in (heights, radii))
    return Measured(RadialSurface(*given), offset)


def _wrapped(where: FloatArray) -> FloatArray:
    return np.column_stack([where[:, 0] % PERIOD, where[:, 1]])
