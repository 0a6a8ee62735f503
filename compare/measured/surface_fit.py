# SPDX-License-Identifier: MIT
"""The radius of a scan over angle and height, with holes filled, outliers left out, and its uncertainty."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import RegularGridInterpolator

from annelid.compare.measured.cells import (
    FEWEST,
    CellLayout,
    Cells,
    PolarPoints,
    cells_of,
    ends_of,
    layout_of,
    polar_points,
)
from annelid.compare.measured.penalised import Basis, FitResult, PenalisedFit
from annelid.compare.measured.refusals import check_holes, check_rows, check_single, check_slope, gaps, slopes
from annelid.compare.measured.settings import SurfaceSettings
from annelid.compare.measured.trial_holes import hole_factor
from annelid.geometry.body import FloatArray, IntArray
from annelid.geometry.errors import InputError

BoolArray = NDArray[np.bool_]
_TURN = 2 * np.pi
_MOST_AROUND, _MOST_ALONG = 32, 32  # splines
_PER_SPLINE = 1.6  # cells along one spline at least
_TUKEY = 4.685
_OUTLYING = 4.0  # robust standard deviations beyond which a point is no measurement of the surface
_ROUNDS = 6
_ROUGH, _LIGHT = (10, 6), np.array([-2.0, -2.0])  # splines, and the logarithms of their smoothing
_NEAR = 1.1  # widths of a cell within which a place counts as measured


@dataclass(frozen=True)
class FittedSurface:
    """The surface of a scan on a grid of a angles and h heights.

    Attributes:
        angles: Evenly spaced from 0, shape (a,), rad.
        heights: Shape (h,), mm.
        radius: Shape (a, h), mm.
        deviation: Standard deviation of the radius, shape (a, h), mm.
        gap: Distance to the nearest cell with a measurement, shape (a, h), mm.
        filled: Whether a place lies in a hole, shape (a, h).
        count: Number of points around each place, shape (a, h).
        points: Points within the heights.
        residual: Distance of each of them from the surface along its normal, outwards, shape (n,), mm.
        inlier: Whether it counts, shape (n,).
        noise: Standard deviation of a point about the surface, mm.
        freedom: Effective number of parameters.
        basis: Numbers of splines around and along.
        smoothing: Logarithms (to base 10) of the relative smoothing around and along.
        hole_factor: Factor on the standard deviation in holes, from trial holes.
        score: Score of the cross-validation.
    """

    angles: FloatArray
    heights: FloatArray
    radius: FloatArray
    deviation: FloatArray
    gap: FloatArray
    filled: BoolArray
    count: IntArray
    points: PolarPoints
    residual: FloatArray
    inlier: BoolArray
    noise: float
    freedom: float
    basis: tuple[int, int]
    smoothing: tuple[float, float]
    hole_factor: float
    score: float

    @property
    def widest_hole(self) -> float:
        """Width of the largest hole, mm."""
        return 2.0 * float(self.gap.max()) if self.filled.any() else 0.0

    @property
    def filled_share(self) -> float:
        """Share of the places in holes."""
        return float(self.filled.mean())


def fit_surface(points: FloatArray, settings: SurfaceSettings) -> FittedSurface:
    """Fit the surface of points in the frame of the axis.

    Args:
        points: Shape (n, 3), mm.
        settings: Heights, grid, largest hole.

    Raises:
        InputError: There are too few points, the surface is no single radius over angle and height, or a hole
            is too large.
    """
    polar = polar_points(points)
    low, high = ends_of(polar)
    low = low if settings.low is None else settings.low
    high = high if settings.high is None else settings.high
    polar = polar.chosen((polar.height >= low) & (polar.height <= high))
    if len(polar.radius) < FEWEST or low >= high:
        text = f"only {len(polar.radius)} points lie from {low:.4g} to {high:.4g} mm along the axis"
        raise InputError(f"{text}: at least {FEWEST} are needed", points=len(polar.radius))
    layout = layout_of(polar, low, high)
    check_rows(polar)
    check_holes(cells_of(polar, layout), layout, settings)
    fitter, fit, residual, inlier = _robust_fit(polar, layout)
    check_single(polar, layout, inlier)
    check_slope(layout, fitter, fit)
    cells = cells_of(polar.chosen(inlier), layout)
    check_holes(cells, layout, settings)
    return _on_grid(polar, layout, cells, fitter, fit, residual, inlier, settings)


def _basis_of(layout: CellLayout) -> Basis:
    around = int(np.clip(layout.around / _PER_SPLINE, 8, _MOST_AROUND))
    along = int(np.clip(layout.along / _PER_SPLINE, 4, _MOST_ALONG))
    return Basis(around, along, layout.low, layout.high)


def _robust_fit(
    polar: PolarPoints, layout: CellLayout
) -> tuple[PenalisedFit, FitResult, FloatArray, BoolArray]:
    """Fit medians of cells without outlying cells, then means of the points near this surface."""
    basis = _basis_of(layout)
    cells = cells_of(polar, layout, robust=True)
    cap = float(np.median(cells.number))
    weight = np.minimum(cells.number, cap)
    # Few splines cannot follow a ghost, so its cells are left out before the smoothing is chosen.
    rough = Basis(min(_ROUGH[0], basis.around), min(_ROUGH[1], basis.along), layout.low, layout.high)
    trust, _, _ = _trusted(rough, cells, weight, np.ones(len(weight)), _LIGHT)
    logarithms: FloatArray | None = None
    for _ in range(2):
        fitter = PenalisedFit(basis, cells, weight * trust)
        logarithms, _ = fitter.best(logarithms)
        trust, fitter, fit = _trusted(basis, cells, weight, trust, logarithms)
    for last in (False, True):
        residual = _residuals(polar, layout, fitter, fit)
        near = np.abs(residual) <= np.quantile(np.abs(residual), 0.8)  # most points without outliers
        noise = max(1.4826 * _half_normal_median(residual[near], 0.8), 1e-9)
        inlier = np.abs(residual) <= _OUTLYING * noise
        cells = cells_of(polar.chosen(inlier), layout)
        fitter = PenalisedFit(basis, cells, np.minimum(cells.number, cap))
        fit = fitter.best(fit.logarithms)[1] if last else fitter.with_smoothing(fit.logarithms)
    return fitter, fit, _residuals(polar, layout, fitter, fit), inlier


def _trusted(
    basis: Basis, cells: Cells, weight: FloatArray, trust: FloatArray, logarithms: FloatArray
) -> tuple[FloatArray, PenalisedFit, FitResult]:
    """Weights of Tukey's biweight of cells about their own fit, 0 of outlying ones; and the fit."""
    for _ in range(_ROUNDS):
        fitter = PenalisedFit(basis, cells, weight * trust)
        fit = fitter.with_smoothing(logarithms)
        off = (cells.radius - fitter.values(fit, cells.angle, cells.height)) * np.sqrt(weight)
        scale = max(1.4826 * float(np.median(np.abs(off))), 1e-9)
        trust = np.maximum(1.0 - (off / (_TUKEY * scale)) ** 2, 0.0) ** 2
    return trust, fitter, fit


def _half_normal_median(values: FloatArray, share: float) -> float:
    """Median of the size of all values, from those of the smallest share of them."""
    return float(np.quantile(np.abs(values), 0.5 / share))


def _residuals(polar: PolarPoints, layout: CellLayout, fitter: PenalisedFit, fit: FitResult) -> FloatArray:
    """Distance of points from a fit along its normal, outwards, mm."""
    angle, height, slope = slopes(layout, fitter, fit)
    local = RegularGridInterpolator((angle, height), slope)(np.column_stack([polar.angle, polar.height]))
    off = polar.radius - fitter.values(fit, polar.angle, polar.height)
    return np.asarray(off / np.sqrt(1.0 + local**2))


def _in_holes(
    gap: FloatArray, width: float, fitter: PenalisedFit, fit: FitResult, cells: Cells
) -> tuple[BoolArray, float, FloatArray]:
    """Which places are in holes, the factor on their standard deviation, and the share of it everywhere."""
    filled = gap > _NEAR * width
    factor = hole_factor(fitter, fit, cells, float(gap.max())) if filled.any() else 1.0
    share = np.clip((gap / width - 0.5 * _NEAR) / (0.5 * _NEAR), 0.0, 1.0)
    return filled, factor, 1.0 + (factor - 1.0) * share


def _grid_lines(layout: CellLayout, count: int, mean: float, basis: Basis) -> tuple[FloatArray, FloatArray]:
    """Angles and heights of a grid of about square cells, for a mean radius."""
    step = _TURN * mean / count
    most = int(np.clip((layout.high - layout.low) / step, 2 * basis.along, 120))
    return _TURN * np.arange(count) / count, np.linspace(layout.low, layout.high, most + 1)


def _on_grid(
    polar: PolarPoints,
    layout: CellLayout,
    cells: Cells,
    fitter: PenalisedFit,
    fit: FitResult,
    residual: FloatArray,
    inlier: BoolArray,
    settings: SurfaceSettings,
) -> FittedSurface:
    mean, basis = float(np.median(cells.radius)), _basis_of(layout)
    angles, heights = _grid_lines(layout, settings.angles, mean, basis)
    a, z = (values.ravel() for values in np.meshgrid(angles, heights, indexing="ij"))
    shape = (len(angles), len(heights))
    radius = fitter.values(fit, a, z)
    if not radius.min() > 0.0:
        raise InputError("the fitted radius falls to 0 mm; leave out closed ends with --from and --to")
    gap = gaps(a, z, radius, cells)
    width = max(_TURN * mean / layout.around, (layout.high - layout.low) / layout.along)
    filled, factor, scale = _in_holes(gap, width, fitter, fit, cells)
    grid = CellLayout(shape[0], shape[1], layout.low, layout.high)
    counted = np.bincount(grid.number(polar.chosen(inlier)), minlength=len(a)).reshape(shape[1], shape[0]).T
    return FittedSurface(
        angles,
        heights,
        radius.reshape(shape),
        (scale * fitter.deviations(fit, a, z)).reshape(shape),
        gap.reshape(shape),
        filled.reshape(shape),
        counted,
        polar,
        residual,
        inlier,
        float(residual[inlier].std()),
        fit.freedom,
        (basis.around, basis.along),
        (float(fit.logarithms[0]), float(fit.logarithms[1])),
        factor,
        fitter.score(fit),
    )
