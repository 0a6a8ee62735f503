# SPDX-License-Identifier: MIT
"""The measured thickness of a layer over the height, or over the angle and the height."""

import csv
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path

import numpy as np

from annelid.geometry.body import FloatArray
from annelid.geometry.errors import InputError, InvalidValue
from annelid.geometry.hermite import hermite
from annelid.geometry.text_files import read_columns, read_text

__all__ = ["ANGLE", "PLACES", "THICKNESSES", "ThicknessMap", "read_thickness_map"]

ANGLE = "angle_deg"
PLACES = ("height_mm", "radius_mm")
"""Columns of the places along the wall: heights, on a dome radii of its inner face."""
THICKNESSES = {"thickness_um": 1e-3, "thickness_mm": 1.0}
"""Columns of thicknesses, and their unit in mm."""

_LEAST_ANGLES = 8
_THINNEST, _THICKEST = 1e-3, 100.0  # mm; outside of them the unit is probably wrong
_RATIO = 20.0  # of the largest thickness over the least
_LARGEST_FILE = 50_000_000  # bytes
_TURN = 2 * np.pi


@dataclass(frozen=True, eq=False)
class ThicknessMap:
    """Thickness of a layer at places along the wall, and perhaps at angles around it.

    Between the given values it is interpolated by cubics that do not overshoot (Fritsch, Butland, SIAM J.
    Sci. Stat. Comput. 5, 1984, 300-304).

    Attributes:
        places: Heights Z, on a dome radii R, of the inner face of the wall (on a measured surface: heights of
            that surface), ascending, shape (k,), mm.
        values: Thicknesses, shape (n, k), mm: one row if they are the same all around, else one for each of n
            evenly spaced angles from 0.

    Raises:
        InvalidValue: There are too few places or angles, a value is out of range, or they differ too much.
    """

    places: FloatArray
    values: FloatArray

    def __post_init__(self) -> None:
        _check_shape(self.places, self.values)
        _check_range(self.places, self.values)

    @property
    def all_around(self) -> bool:
        """Whether the thickness is the same at all angles."""
        return len(self.values) == 1

    @property
    def least(self) -> float:
        """Least thickness, mm."""
        return float(self.values.min())

    @property
    def most(self) -> float:
        """Largest thickness, mm."""
        return float(self.values.max())

    @property
    def mean(self) -> float:
        """Mean over the angle and along the map, mm."""
        return float(np.trapezoid(self.values.mean(axis=0), self.places) / np.ptp(self.places))

    def averaged(self) -> "ThicknessMap":
        """The map of the mean around at each place."""
        return ThicknessMap(self.places, self.values.mean(axis=0, keepdims=True))

    def at(self, place: FloatArray, angle: FloatArray) -> FloatArray:
        """Return thicknesses at places in mm and angles in rad, both of shape (m,).

        Places beyond the map have the thickness at its end.
        """
        count = len(self.values)
        if count == 1:
            return self._along(self.values, self._slopes[0], 0, place)
        step = _TURN / count
        turn = np.asarray(angle) % _TURN / step
        row = np.minimum(turn.astype(np.int64), count - 1)
        found = np.empty(len(place))
        for first in np.unique(row):
            here = np.flatnonzero(row == first)
            found[here] = self._between(int(first), place[here], turn[here] - first)
        return found

    def _between(self, row: int, place: FloatArray, t: FloatArray) -> FloatArray:
        """Thicknesses between two neighbouring angles, a fraction t of the step from the first one."""
        along, around, twist = self._slopes
        (a, b), (da, db) = (
            [self._along(values, slopes, number % len(self.values), place) for number in (row, row + 1)]
            for values, slopes in ((self.values, along), (around, twist))
        )
        start = (1 + 2 * t) * (1 - t) ** 2 * a + t * (1 - t) ** 2 * da
        return np.asarray(start + t**2 * (3 - 2 * t) * b + t**2 * (t - 1) * db)

    def _along(self, values: FloatArray, slopes: FloatArray, row: int, place: FloatArray) -> FloatArray:
        inside = np.clip(place, self.places[0], self.places[-1])
        return hermite(self.places, values[row], slopes[row], inside)

    @cached_property
    def _slopes(self) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Slopes along, around (by one step of the angle), and of these along, shaped as values."""
        padded = np.concatenate([self.values[-1:], self.values, self.values[:1]])
        around = _monotone_slopes(np.arange(len(padded), dtype=np.float64), padded.T).T[1:-1]
        along, twist = (_monotone_slopes(self.places, table) for table in (self.values, around))
        return along, around, twist


def read_thickness_map(path: Path | str) -> tuple[str, ThicknessMap]:
    """Read a map from a CSV file, and return it after the name of its column of places.

    The columns are height_mm (on a dome radius_mm), thickness_um or thickness_mm, and angle_deg if the
    thickness differs around. The rows are in any order; with angles they form a full grid.

    Raises:
        InputError: The file cannot be read, or does not contain such a map.
    """
    header = next(csv.reader(read_text(path, most=_LARGEST_FILE).splitlines()[:1]), [])
    place = _one_column(path, header, PLACES)
    column = _one_column(path, header, tuple(THICKNESSES))
    if ANGLE in header:
        angle, places, values = read_columns(path, (ANGLE, place, column)).T
    else:
        places, values = read_columns(path, (place, column)).T
        angle = np.zeros(len(places))
    angles, heights = np.unique(angle.round(9)), np.unique(places.round(9))
    if len(values) != len(angles) * len(heights) or not np.allclose(
        angles, 360.0 / len(angles) * np.arange(len(angles)), atol=1e-6
    ):
        raise InputError(f"{path}: {_no_grid(len(values), angles, heights, ANGLE in header)}", key=str(path))
    order = np.lexsort((places.round(9), angle.round(9)))
    grid = np.stack([angle.round(9), places.round(9)], axis=1)[order]
    if len(np.unique(grid, axis=0)) != len(grid):
        raise InputError(f"{path}: {_no_grid(len(values), angles, heights, ANGLE in header)}", key=str(path))
    table = values[order].reshape(len(angles), len(heights)) * THICKNESSES[column]
    try:
        return place, ThicknessMap(heights, table)
    except InvalidValue as error:
        raise InputError(f"{path}: {error.problem}", key=str(path)) from None


def _one_column(path: Path | str, header: list[str], names: tuple[str, ...]) -> str:
    found = [name for name in names if name in header]
    if len(found) != 1:
        what = "missing" if not found else "more than one of"
        raise InputError(f"{path}: {what}: a column {' or '.join(names)}", key=str(path))
    return found[0]


def _no_grid(rows: int, angles: FloatArray, heights: FloatArray, around: bool) -> str:
    if not around:
        return f"{rows} rows with {len(heights)} heights: give each height once"
    return (
        f"{rows} rows with {len(angles)} angles from {angles[0]:g} degrees and {len(heights)} heights are "
        "not a full grid of evenly spaced angles from 0 (360 degrees is 0 again): give every height at every "
        "angle once"
    )


def _check_shape(places: FloatArray, values: FloatArray) -> None:
    if values.ndim != 2 or values.shape[1:] != places.shape or len(places) < 2:
        raise InvalidValue(
            f"{values.shape[-1]} thicknesses for {len(places)} places: at least 2 places are needed, with "
            "one thickness at each",
            key="thicknesses",
        )
    if 1 < len(values) < _LEAST_ANGLES:
        raise InvalidValue(
            f"has {len(values)} angles: give at least {_LEAST_ANGLES}, or no angles if the thickness is the "
            "same all around",
            key="thicknesses",
            value=float(len(values)),
        )
    if not (np.isfinite(places).all() and (np.diff(places) > 0.0).all()):
        raise InvalidValue("must be finite and ascending", key="places")


def _check_range(places: FloatArray, values: FloatArray) -> None:
    finite = np.isfinite(values)
    for bad, limit, hint in (
        (~finite | (values <= 0.0), "above 0 um", ""),
        (
            values < _THINNEST,
            f"at least {1e3 * _THINNEST:g} um",
            "; if these are mm, name the column thickness_mm",
        ),
        (values > _THICKEST, f"at most {_THICKEST:g} mm", "; if these are um, name the column thickness_um"),
    ):
        if bad.any():
            row, column = np.argwhere(bad)[0]
            where = f"at {places[column]:g} mm" + (
                f" and {360 * row / len(values):g} degrees" if len(values) > 1 else ""
            )
            raise InvalidValue(
                f"the thickness {where} is {1e3 * values[row, column]:g} um: it must be {limit}{hint}",
                key="thicknesses",
            )
    ratio = float(values.max() / values.min())
    if ratio > _RATIO:
        raise InvalidValue(
            f"the thickness ranges from {1e3 * values.min():g} to {1e3 * values.max():g} um, by a factor of "
            f"{ratio:.3g}: it must be at most {_RATIO:g}; remove wrong values, or divide the layer",
            key="thicknesses",
            value=ratio,
        )


def _monotone_slopes(x: FloatArray, rows: FloatArray) -> FloatArray:
    """Slopes of monotone cubics through rows of values at x."""
    from scipy.interpolate import PchipInterpolator

    return np.asarray(PchipInterpolator(x, rows, axis=1).derivative()(x))
