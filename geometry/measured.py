# SPDX-License-Identifier: MIT
"""A measured surface, radius over angle and height, and its conformal chart found by solving for it."""

import csv
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import ArrayLike

from geometry.body import FloatArray
from geometry.chart import PERIOD, Spot
from geometry.checks import within
from geometry.errors import InputError
from geometry.harmonic import harmonic_map

if TYPE_CHECKING:
    from scipy.interpolate import NdBSpline

COLUMNS = ("angle_deg", "height_mm", "radius_mm")
_DEGREE = 3
_NEWTON = 30
_SLIP = 1e-9  # mm


@dataclass(frozen=True)
class Measured:
    """Chart of a measured surface between two end rings, interpolated by cubic splines.

    Attributes:
        heights: Heights Z, ascending, shape (k,), mm.
        radii: Radii at evenly spaced angles from 0 on (rows) and at the heights, shape (n, k), mm.

    Raises:
        InputError: If there are too few radii, or heights or radii cannot be used.
    """

    heights: FloatArray
    radii: FloatArray

    def __post_init__(self) -> None:
        _check_grid(self.heights, self.radii)

    @cached_property
    def _radius(self) -> "NdBSpline":
        from scipy.interpolate import NdBSpline, make_interp_spline

        angle = np.linspace(0.0, PERIOD, len(self.radii) + 1)
        closed = np.concatenate([self.radii, self.radii[:1]])
        closed[-1] = closed[0]
        around = make_interp_spline(angle, closed, k=_DEGREE, bc_type="periodic")
        along = make_interp_spline(self.heights, around.c.T, k=_DEGREE)
        return NdBSpline((around.t, along.t), np.ascontiguousarray(along.c.T), _DEGREE)

    @cached_property
    def _map(self) -> "tuple[NdBSpline, NdBSpline]":
        """The functions u - theta and v over theta and Z."""
        return harmonic_map(self._forms, float(self.heights[0]), float(self.heights[-1]))

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
        return float(self._map[1](np.array([[0.0, self.heights[-1]]]))[0])

    @cached_property
    def angle_error(self) -> float:
        """Largest change of an angle between surface and chart, degrees, on a fine grid."""
        angle = (np.arange(211) + 0.5) / 211 * PERIOD
        height = self.heights[0] + (np.arange(211) + 0.5) / 211 * np.ptp(self.heights)
        where = np.stack(np.meshgrid(angle, height), axis=-1).reshape(-1, 2)
        stretches = np.linalg.svd(self._forms(where).reshape(-1, 3, 2) @ np.linalg.inv(self._slopes(where)))[
            1
        ]
        ratio = stretches[:, 0] / stretches[:, 1]
        return float(np.degrees(2 * np.arcsin((ratio - 1) / (ratio + 1))).max())

    def place(self, points: FloatArray, offset: FloatArray | float = 0.0) -> Spot:
        """Return the places over points (u, v), shape (k, 2), at a height along the normal, mm."""
        where = self.coordinates(points)
        across = np.cross(*np.moveaxis(self._forms(where), 2, 0))
        normal = across / np.linalg.norm(across, axis=1)[:, None]
        return Spot(self._position(where) + np.asarray(offset)[..., None] * normal, normal)

    def around(self, points: FloatArray) -> FloatArray:
        """Return the unit tangents at points (u, v) that keep their height, shape (k, 3)."""
        along = self._forms(self.coordinates(points))[:, :, 0]
        return np.asarray(along / np.linalg.norm(along, axis=1)[:, None])

    def at_height(self, height: float, key: str) -> float:
        """Return v of the line of equal v whose mean height around is given, mm.

        Raises:
            InputError: If the surface does not reach there.
        """
        low, high = (float(z) for z in self.heights[[0, -1]])
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
        low, high = self.heights[[0, -1]]
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

    def _position(self, where: FloatArray) -> FloatArray:
        radius = self._radius(_wrapped(where))
        return np.column_stack([radius * np.cos(where[:, 0]), radius * np.sin(where[:, 0]), where[:, 1]])

    def _forms(self, where: FloatArray) -> FloatArray:
        """Derivatives of the position by angle and height, shape (k, 3, 2)."""
        inside = _wrapped(where)
        radius, turn, rise = (self._radius(inside, nu=nu) for nu in ((0, 0), (1, 0), (0, 1)))
        cosine, sine = np.cos(where[:, 0]), np.sin(where[:, 0])
        around = [turn * cosine - radius * sine, turn * sine + radius * cosine, 0.0 * radius]
        along = [rise * cosine, rise * sine, 1.0 + 0.0 * radius]
        return np.stack([np.stack(around, axis=-1), np.stack(along, axis=-1)], axis=-1)


def measured_from_csv(path: Path | str) -> Measured:
    """Read a measured surface from a CSV file with the columns angle_deg, height_mm and radius_mm.

    The rows are a full grid, in any order: every height at every one of evenly spaced angles from 0 on.

    Raises:
        InputError: If the file cannot be read, or is no such grid.
    """
    try:
        with Path(path).open(newline="", encoding="utf-8-sig") as stream:
            rows = list(csv.DictReader(stream))
        table = np.array([[float(row[name]) for name in COLUMNS] for row in rows])
    except (OSError, UnicodeDecodeError, csv.Error, KeyError, TypeError, ValueError) as error:
        text = f"measured surface {path}: needs rows of numbers under {', '.join(COLUMNS)} ({error!r})"
        raise InputError(text, path=str(path)) from error
    table = table.reshape(-1, 3)
    angles, heights = (np.unique(table[:, k].round(9)) for k in (0, 1))
    even = len(angles) > 0 and np.allclose(angles, 360.0 / len(angles) * np.arange(len(angles)), atol=1e-6)
    if not even or len(table) != len(angles) * len(heights):
        raise InputError(
            f"measured surface {path}: {len(table)} rows with {len(angles)} angles and {len(heights)} heights"
            " are no full grid of evenly spaced angles from 0 on; give every height at every angle once",
            path=str(path),
        )
    ordered = table[np.lexsort((table[:, 1], table[:, 0]))]
    return Measured(heights, ordered[:, 2].reshape(len(angles), len(heights)))


def measured(heights: ArrayLike, radii: ArrayLike) -> Measured:
    """Return the chart of a measured surface; arguments are those of :class:`Measured`."""
    return Measured(np.asarray(heights, dtype=np.float64), np.asarray(radii, dtype=np.float64))


def _check_grid(heights: FloatArray, radii: FloatArray) -> None:
    if radii.ndim != 2 or len(radii) < 8 or radii.shape[1] < 4 or radii.shape[1:] != heights.shape:
        raise InputError(
            f"measured surface: {radii.shape} radii over {heights.shape} heights; needs at least 8 angles and"
            " 4 heights, and one radius at each",
            shape=radii.shape,
        )
    if not (np.isfinite(heights).all() and (np.diff(heights) > 0.0).all()):
        raise InputError("measured surface: heights must be finite and ascend")
    if not (np.isfinite(radii).all() and radii.min() > 0.0):
        worst = np.unravel_index(int(np.argmin(np.where(np.isfinite(radii), radii, -np.inf))), radii.shape)
        raise InputError(
            f"measured surface: radius {radii[worst]:g} mm at angle {int(worst[0])}, height {int(worst[1])}; "
            "must be finite and above 0 mm",
            place=tuple(map(int, worst)),
        )


def _wrapped(where: FloatArray) -> FloatArray:
    return np.column_stack([where[:, 0] % PERIOD, where[:, 1]])
