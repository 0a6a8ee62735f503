# SPDX-License-Identifier: MIT
"""Meridians drawn by points or read from a table, joined by a spline."""

from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import ArrayLike

from annelid.geometry.body import FloatArray
from annelid.geometry.checks import within
from annelid.geometry.errors import InvalidValue
from annelid.geometry.shapes.meridian import Meridian

if TYPE_CHECKING:
    from scipy.interpolate import BSpline

COLUMNS = ("radius_mm", "height_mm")
_STEEPEST_POLE = 45.0  # degrees from the horizontal that the last chord to a pole may have


def from_points(points: ArrayLike, *, smoothing: float = 0.0) -> Meridian:
    """Return the cubic spline through points of the inner face, in order along the wall.

    An end at R = 0 is a closed pole: the points are mirrored across the axis there, so the spline meets
    it at a right angle. The points may run up or down.

    Args:
        points: R and Z of the points, shape (k, 2), k >= 4, mm.
        smoothing: Root-mean-square distance the spline may keep from the points, mm; 0 goes through them.
            Open ends and poles are held exactly only when it is 0.

    Raises:
        InputError: If the points are too few, not finite, repeated, at negative radius, arrive at a pole
            too steeply, or make a curve that a meridian may not be.
    """
    table = _checked_points(np.asarray(points, dtype=np.float64))
    within("smoothing", smoothing, least=0.0, unit="mm")
    poles = table[0, 0] == 0.0, table[-1, 0] == 0.0
    for pole, chord in ((poles[0], table[1] - table[0]), (poles[1], table[-2] - table[-1])):
        steepness = float(np.degrees(np.arctan2(abs(chord[1]), abs(chord[0]))))
        if pole and steepness > _STEEPEST_POLE:
            raise InvalidValue(
                f"the wall meets the axis {steepness:.3g} degrees from the horizontal, "
                f"but must meet it at a right angle (at most {_STEEPEST_POLE:g} degrees over the last two "
                "points); add points near the pole or leave an open ring",
                key="points",
                steepness=steepness,
            )
    if smoothing > 0.0:
        table = _smoothed(table, poles, smoothing)
    spline, first, last = _spline(table, poles)
    slope, bend = spline.derivative(1), spline.derivative(2)

    def curve(q: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
        return spline(q), slope(q), bend(q)

    inside = np.unique(spline.t[(spline.t > first) & (spline.t < last)])
    return Meridian(f"spline through {len(table)} points", curve, (first, *inside.tolist(), last))


def _checked_points(table: FloatArray) -> FloatArray:
    if table.ndim != 2 or table.shape[1] != 2 or len(table) < 4:
        raise InvalidValue(
            f"need at least 4 pairs of R and Z, got an array of shape {table.shape}", key="points"
        )
    if not np.isfinite(table).all():
        raise InvalidValue(
            f"point {int(np.flatnonzero(~np.isfinite(table).all(axis=1))[0])} is not finite",
            key="points",
        )
    size = float(np.ptp(table, axis=0).max())
    table = np.where(np.abs(table) < [1e-9 * size, 0.0], 0.0, table)
    if table[:, 0].min() < 0.0:
        worst = int(np.argmin(table[:, 0]))
        raise InvalidValue(
            f"radius {table[worst, 0]:g} mm at point {worst}; radii must be at least 0 mm",
            key="points",
            point=worst,
        )
    steps = np.linalg.norm(np.diff(table, axis=0), axis=1)
    if steps.min() <= 1e-9 * size:
        raise InvalidValue(
            f"point {int(np.argmin(steps)) + 1} repeats the one before it: remove it", key="points"
        )
    return table[::-1] if table[-1, 1] < table[0, 1] else table


def _mirrored(table: FloatArray, poles: tuple[bool, bool]) -> tuple[FloatArray, FloatArray, int]:
    """Return the points with mirror images beyond the poles, their chord lengths, and where they begin.

    With two poles the curve closes on itself: the last point is the first.
    """
    image = table[::-1] * [-1.0, 1.0]
    if all(poles):
        extended, start = np.concatenate([table, image[1:]]), 0
        extended[-1] = extended[0]
    elif poles[0]:
        extended, start = np.concatenate([image[:-1], table]), len(table) - 1
    elif poles[1]:
        extended, start = np.concatenate([table, image[1:]]), 0
    else:
        extended, start = table, 0
    steps = np.linalg.norm(np.diff(extended, axis=0), axis=1)
    return extended, np.concatenate([[0.0], np.cumsum(steps)]), start


def _spline(table: FloatArray, poles: tuple[bool, bool]) -> tuple["BSpline", float, float]:
    """Return the interpolating spline and its parameter at both ends of the points."""
    from scipy.interpolate import make_interp_spline

    extended, chord, start = _mirrored(table, poles)
    spline = make_interp_spline(chord, extended, k=3, bc_type="periodic" if all(poles) else None)
    return spline, float(chord[start]), float(chord[start + len(table) - 1])


def _smoothed(table: FloatArray, poles: tuple[bool, bool], distance: float) -> FloatArray:
    """Return the points moved onto a smoothing spline, poles put back on the axis."""
    from scipy.interpolate import BSpline, splprep

    extended, chord, start = _mirrored(table, poles)
    fit: Any = splprep(extended.T, u=chord, s=len(extended) * distance**2, per=all(poles))[0]
    knots, weights, degree = fit
    moved = BSpline(knots, np.column_stack(weights), degree)(chord[start : start + len(table)])
    moved[np.array([0, -1])[list(poles)], 0] = 0.0
    return moved
