# SPDX-License-Identifier: MIT
"""A measured surface: its radius as a function of angle and height, between two end rings."""

from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from annelid.geometry.body import FloatArray
from annelid.geometry.errors import InputError, InvalidValue
from annelid.geometry.lattice.chart import PERIOD
from annelid.geometry.text_files import read_columns

if TYPE_CHECKING:
    from scipy.interpolate import NdBSpline

COLUMNS = ("angle_deg", "height_mm", "radius_mm")
_DEGREE = 3
_AROUND, _ALONG, _GAUSS = 144, 120, 4  # points of the integration of lengths and volumes


@dataclass(frozen=True)
class RadialSurface:
    """A surface given by its radius as a function of angle and height, interpolated by cubic splines.

    Its methods take angles (rad, with any whole turns) and heights (mm) as an array of shape (k, 2).

    Attributes:
        heights: Heights Z, ascending, shape (k,), mm.
        radii: Radii at evenly spaced angles from 0 (rows) and at the heights (columns), shape (n, k), mm.

    Raises:
        InputError: If there are too few radii, or heights or radii are invalid.
    """

    heights: FloatArray
    radii: FloatArray

    def __post_init__(self) -> None:
        _check_grid(self.heights, self.radii)

    @cached_property
    def _radius(self) -> "NdBSpline":
        return _closed_spline(self.radii, self.heights)

    @cached_property
    def _arc_fraction(self) -> "NdBSpline":
        angle = PERIOD * np.arange(_AROUND) / _AROUND
        heights = np.linspace(*self.ends, _ALONG + 1)
        nodes, weights = np.polynomial.legendre.leggauss(_GAUSS)
        half = np.diff(heights) / 2
        at = (heights[:-1] + half)[:, None] + half[:, None] * nodes
        where = np.stack(np.meshgrid(angle, at.ravel(), indexing="ij"), axis=-1).reshape(-1, 2)
        speed = np.linalg.norm(self.tangents(where)[:, :, 1], axis=1).reshape(_AROUND, *at.shape)
        length = np.cumsum(half * (speed @ weights), axis=1)
        fraction = np.column_stack([np.zeros(_AROUND), length]) / length[:, -1:]
        return _closed_spline(fraction, heights)

    @property
    def ends(self) -> tuple[float, float]:
        """Least and largest height, mm."""
        return float(self.heights[0]), float(self.heights[-1])

    def sample_grid(self, count: int) -> FloatArray:
        """Return angles and heights of an even grid of ``count`` by ``count`` points, shape (k, 2)."""
        fraction = (np.arange(count) + 0.5) / count
        low, high = self.ends
        return np.stack(np.meshgrid(PERIOD * fraction, low + (high - low) * fraction), axis=-1).reshape(-1, 2)

    def position(self, where: FloatArray) -> FloatArray:
        """Return X, Y, Z, shape (k, 3), mm."""
        (radius,) = self._radii(where, (0, 0))
        return np.column_stack([radius * np.cos(where[:, 0]), radius * np.sin(where[:, 0]), where[:, 1]])

    def arc_fraction(self, where: FloatArray, *, orders: tuple[int, int] = (0, 0)) -> FloatArray:
        """Return the fraction of the length of the line of constant angle below each point, shape (k,).

        Args:
            where: Angles and heights.
            orders: Orders of the derivatives by angle and height to be returned instead.
        """
        return np.asarray(self._arc_fraction(wrapped(where), nu=orders))

    @property
    def enclosed_volume(self) -> float:
        """Volume enclosed by the surface and the planes of its ends, mm³."""
        nodes, weights = np.polynomial.legendre.leggauss(_ALONG)
        low, high = self.ends
        heights = (low + high) / 2 + (high - low) / 2 * nodes
        angle = PERIOD * np.arange(_AROUND) / _AROUND
        where = np.stack(np.meshgrid(angle, heights, indexing="ij"), axis=-1).reshape(-1, 2)
        (radius,) = self._radii(where, (0, 0))
        around = (radius.reshape(_AROUND, -1) ** 2).mean(axis=0) * PERIOD / 2
        return float(around @ weights * (high - low) / 2)

    def tangents(self, where: FloatArray) -> FloatArray:
        """Return the derivatives of the position by angle and height, shape (k, 3, 2)."""
        radius, turn, rise = self._radii(where, (0, 0), (1, 0), (0, 1))
        cosine, sine = np.cos(where[:, 0]), np.sin(where[:, 0])
        around = [turn * cosine - radius * sine, turn * sine + radius * cosine, 0.0 * radius]
        along = [rise * cosine, rise * sine, 1.0 + 0.0 * radius]
        return np.stack([np.stack(around, axis=-1), np.stack(along, axis=-1)], axis=-1)

    def normal(self, where: FloatArray) -> FloatArray:
        """Return the outward unit normal, shape (k, 3)."""
        across = np.cross(*np.moveaxis(self.tangents(where), 2, 0))
        return np.asarray(across / np.linalg.norm(across, axis=1)[:, None])

    def normal_derivatives(self, where: FloatArray) -> FloatArray:
        """Return the derivatives of the unit normal by angle and height, shape (k, 3, 2).

        ∂n = -t I⁻¹ II (Weingarten's equations) with the first and second fundamental forms I and II and the
        tangents t.
        """
        orders = (0, 0), (1, 0), (0, 1), (2, 0), (1, 1), (0, 2)
        radius, turn, rise, turn2, mixed, rise2 = self._radii(where, *orders)
        # Second derivatives of the position along e_r and e_angle; those along Z are zero.
        radial = np.stack([turn2 - radius, mixed, mixed, rise2], axis=-1)
        around = np.stack([2 * turn, rise, rise, 0.0 * rise], axis=-1)
        cosine, sine = np.cos(where[:, :1]), np.sin(where[:, :1])
        x, y, _ = np.moveaxis(self.normal(where)[:, :, None], 1, 0)
        second = ((x * cosine + y * sine) * radial + (y * cosine - x * sine) * around).reshape(-1, 2, 2)
        tangents = self.tangents(where)
        first = np.einsum("kia,kib->kab", tangents, tangents)
        return -tangents @ np.linalg.solve(first, second)

    def _radii(self, where: FloatArray, *orders: tuple[int, int]) -> list[FloatArray]:
        """Derivatives of the radius by angle and height, of the given orders."""
        inside = wrapped(where)
        return [self._radius(inside, nu=order) for order in orders]


def read_radial_surface(path: Path | str) -> RadialSurface:
    """Read a measured surface from a CSV file with the columns angle_deg, height_mm and radius_mm.

    The rows form a full grid, in any order: every height at every one of evenly spaced angles from 0.

    Raises:
        InputError: If the file cannot be read or does not contain such a grid.
    """
    table = read_columns(path, COLUMNS)
    angles, heights = (np.unique(table[:, k].round(9)) for k in (0, 1))
    even = len(angles) > 0 and np.allclose(angles, 360.0 / len(angles) * np.arange(len(angles)), atol=1e-6)
    if not even or len(table) != len(angles) * len(heights):
        raise InputError(
            f"measured surface {path}: {len(table)} rows with {len(angles)} angles and {len(heights)} heights"
            " are not a full grid of evenly spaced angles from 0; give every height at every angle once",
            path=str(path),
        )
    ordered = table[np.lexsort((table[:, 1], table[:, 0]))]
    return RadialSurface(heights, ordered[:, 2].reshape(len(angles), len(heights)))


def _closed_spline(values: FloatArray, heights: FloatArray) -> "NdBSpline":
    """Interpolate values at evenly spaced angles (rows) and at heights."""
    from scipy.interpolate import NdBSpline, make_interp_spline

    angle = np.linspace(0.0, PERIOD, len(values) + 1)
    around = make_interp_spline(angle, np.concatenate([values, values[:1]]), k=_DEGREE, bc_type="periodic")
    along = make_interp_spline(heights, around.c.T, k=_DEGREE)
    return NdBSpline((around.t, along.t), np.ascontiguousarray(along.c.T), _DEGREE)


def wrapped(where: FloatArray) -> FloatArray:
    """Return angles and heights, shape (k, 2), with the angles in one turn."""
    return np.column_stack([where[:, 0] % PERIOD, where[:, 1]])


def _check_grid(heights: FloatArray, radii: FloatArray) -> None:
    if radii.ndim != 2 or len(radii) < 8 or radii.shape[1] < 4 or radii.shape[1:] != heights.shape:
        raise InvalidValue(
            f"{radii.shape} radii for {heights.shape} heights: at least 8 angles and 4 heights are needed, "
            "with one radius at each",
            subject="measured surface",
            shape=radii.shape,
        )
    if not (np.isfinite(heights).all() and (np.diff(heights) > 0.0).all()):
        raise InvalidValue("must be finite and ascending", key="heights", subject="measured surface")
    if not (np.isfinite(radii).all() and radii.min() > 0.0):
        worst = np.unravel_index(int(np.argmin(np.where(np.isfinite(radii), radii, -np.inf))), radii.shape)
        raise InvalidValue(
            f"the radius at angle number {int(worst[0])} and height number {int(worst[1])} is "
            f"{radii[worst]:g} mm: it must be finite and above 0 mm",
            key="radii",
            subject="measured surface",
            place=tuple(map(int, worst)),
        )
