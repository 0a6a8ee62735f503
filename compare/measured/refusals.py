# SPDX-License-Identifier: MIT
"""Surfaces of scans that no radius over angle and height describes."""

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from annelid.compare.measured.cells import CellLayout, Cells, PolarPoints
from annelid.compare.measured.penalised import FitResult, PenalisedFit
from annelid.compare.measured.settings import SurfaceSettings
from annelid.geometry.body import FloatArray
from annelid.geometry.errors import InputError

_TURN = 2 * np.pi
_STEEPEST = 2.5  # change of the radius over the height, or over the length around
_DOUBLE, _MOST_DOUBLE = 0.3, 0.1  # share of outliers in a cell, and of such cells
_PER_ROW, _LAG = 80, 4  # points in a row around, and rows between which the radius is compared
_SLOPES = 121  # heights and angles at which slopes are taken


def check_single(polar: PolarPoints, layout: CellLayout, inlier: NDArray[np.bool_]) -> None:
    """Raise InputError if many places of a surface have points at another radius, ``inlier`` being false."""
    number = layout.number(polar)
    size = layout.around * layout.along
    every = np.bincount(number, minlength=size).astype(np.int64)
    outside = np.bincount(number[~inlier], minlength=size)
    seen = every >= 3
    double = seen & (outside >= _DOUBLE * every)
    share = float(double.sum()) / max(int(seen.sum()), 1)
    if share > _MOST_DOUBLE:
        rows = np.flatnonzero(double.reshape(layout.along, layout.around).any(axis=1))
        step = (layout.high - layout.low) / layout.along
        low, high = layout.low + rows[0] * step, layout.low + (rows[-1] + 1) * step
        raise InputError(
            f"the surface has no single radius over angle and height: {100 * share:.0f} % of it has points "
            f"at other radii, from {low:.3g} to {high:.3g} mm along the axis; a wall that folds back "
            "over itself, or its inner face beside the outer one, cannot be described in this way",
            share=share,
        )


def check_rows(polar: PolarPoints) -> None:
    """Raise InputError if the median radius changes too fast along the axis, as at a closed end."""
    order = np.argsort(polar.height)
    rows = np.array_split(order, int(np.clip(len(order) / _PER_ROW, 2 * _LAG, 300)))
    height, radius = (np.array([np.median(values[row]) for row in rows]) for values in polar[1:])
    rise = np.maximum(height[_LAG:] - height[:-_LAG], 1e-9)
    slope = np.abs(radius[_LAG:] - radius[:-_LAG]) / rise
    if slope.max() > _STEEPEST:
        raise _too_steep(float(slope.max()), float(height[_LAG // 2 :][int(np.argmax(slope))]))


def _too_steep(slope: float, height: float) -> InputError:
    return InputError(
        f"the surface is too steep for a radius over the height: the radius changes by {slope:.2g} mm over 1 "
        f"mm, most at {height:.3g} mm along the axis; at most {_STEEPEST:g} is allowed. Leave out closed "
        "ends with --from and --to",
        key="--from",
        slope=slope,
    )


def slopes(
    layout: CellLayout, fitter: PenalisedFit, fit: FitResult
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Angles, heights, and the slope of a fit at them, shape (angles, heights)."""
    angle = np.linspace(0.0, _TURN, _SLOPES)
    height = np.linspace(layout.low, layout.high, _SLOPES)
    a, z = np.meshgrid(angle, height, indexing="ij")
    radius = fitter.values(fit, a.ravel(), z.ravel()).reshape(a.shape)
    around = np.gradient(radius, angle, axis=0) / np.maximum(radius, 1e-9)
    return angle, height, np.hypot(around, np.gradient(radius, height, axis=1))


def check_slope(layout: CellLayout, fitter: PenalisedFit, fit: FitResult) -> None:
    """Raise InputError if a surface is nearly across the axis."""
    slope = float(slopes(layout, fitter, fit)[2].max())
    if slope <= _STEEPEST:
        return
    height = np.linspace(layout.low, layout.high, _SLOPES)
    mean = np.array([fitter.values(fit, np.linspace(0, _TURN, 36), np.full(36, z)).mean() for z in height])
    raise _too_steep(slope, float(height[int(np.argmax(np.abs(np.gradient(mean, height))))]))


def check_holes(cells: Cells, layout: CellLayout, settings: SurfaceSettings) -> None:
    """Raise InputError if a hole is wider than allowed."""
    radius = float(np.median(cells.radius))
    a, z = np.meshgrid(
        _TURN * (np.arange(72) + 0.5) / 72, np.linspace(layout.low, layout.high, 60), indexing="ij"
    )
    gap = gaps(
        a.ravel(),
        z.ravel(),
        np.full(a.size, radius),
        cells._replace(radius=np.full(len(cells.radius), radius)),
    )
    worst = int(np.argmax(gap))
    limit = settings.largest_hole * 2 * radius
    if 2 * gap[worst] > limit:
        raise InputError(
            f"a hole of the scan at {np.degrees(a.ravel()[worst]):.0f} degrees and {z.ravel()[worst]:.3g} mm "
            f"along the axis is about {2 * gap[worst]:.3g} mm wide: at most {limit:.3g} mm "
            f"({100 * settings.largest_hole:g} % of the diameter) are filled; scan the part from more sides, "
            "leave out this part with --from and --to, or raise --largest-hole",
            key="--largest-hole",
            width=2 * float(gap[worst]),
        )


def gaps(angle: FloatArray, height: FloatArray, radius: FloatArray, cells: Cells) -> FloatArray:
    """Distance of places from the nearest cell with a point, mm."""

    def places(a: FloatArray, z: FloatArray, r: FloatArray) -> FloatArray:
        return np.column_stack([r * np.cos(a), r * np.sin(a), z])

    tree = cKDTree(places(cells.angle, cells.height, cells.radius))
    return np.asarray(tree.query(places(angle, height, radius))[0])
