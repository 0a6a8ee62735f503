# SPDX-License-Identifier: MIT
"""Radius of a scan over height and angle, with bands, and the volume that it encloses."""

from typing import NamedTuple

import numpy as np
from scipy.ndimage import distance_transform_edt

from annelid.compare.alignment.surface import BoolArray
from annelid.compare.deviation.radius_field import RadiusField, polar
from annelid.geometry.body import FloatArray, IntArray
from annelid.geometry.errors import InputError

_SPARSE = 0.2  # of the median number of points in a cell; cells with fewer have none but outliers
_OUTLYING = 4.0  # robust standard deviations


class RadiusMap(NamedTuple):
    """Radii in h x a cells of height and angle; a row is the outline of a section.

    Attributes:
        height: Middles of the cells, shape (h,), mm.
        angle: Middles of the cells, shape (a,), rad.
        radius: Mean radius of the scan without outliers, ``nan`` where it has a hole, shape (h, a), mm.
        nominal: Radius of the simulated surface, shape (h, a), mm.
        spread: Standard deviation of the points in a cell, shape (h, a), mm.
        number: Number of points, shape (h, a).
    """

    height: FloatArray
    angle: FloatArray
    radius: FloatArray
    nominal: FloatArray
    spread: FloatArray
    number: FloatArray

    @property
    def difference(self) -> FloatArray:
        """Radius of the scan less that of the simulated surface, shape (h, a), mm."""
        return np.asarray(self.radius - self.nominal)


class RadiusBand(NamedTuple):
    """Radii over height; each shape (h,), mm.

    Attributes:
        height: Height.
        mean: Mean over the angles that the scan reaches.
        low: 5th percentile over these angles.
        high: 95th percentile.
        nominal: Mean of the simulated surface over the same angles.
    """

    height: FloatArray
    mean: FloatArray
    low: FloatArray
    high: FloatArray
    nominal: FloatArray


class EnclosedVolume(NamedTuple):
    """Volumes within the range of heights of a map; both in mm³.

    Attributes:
        scan: Of the scan.
        nominal: Of the simulated surface.
        filled: Share of the cells without a point, whose difference is that of the nearest cell.
    """

    scan: float
    nominal: float
    filled: float

    @property
    def difference(self) -> float:
        """Volume of the scan less that of the simulated surface, mm³."""
        return self.scan - self.nominal


def radius_map(
    points: FloatArray,
    field: RadiusField,
    *,
    heights: int = 50,
    angles: int = 72,
) -> RadiusMap:
    """Average the radii of points in cells of height and angle, without outliers.

    The difference from the simulated surface is averaged, so that its slope within a cell does no harm.

    Args:
        points: Aligned points, shape (n, 3), mm.
        field: The nominal radius.
        heights: Number of cells over the height of the field.
        angles: Number of cells around.
    """
    middle, angle = cell_middles(field, heights, angles)
    cell, difference = cell_of(points, field, heights, angles)
    inside = cell >= 0
    cell, difference = cell[inside], difference[inside]
    weight = np.ones(len(cell))
    shape, size = (heights, angles), heights * angles
    count = np.bincount(cell, weight, size)
    mean, spread = _robust_means(difference, weight, cell, size)
    none = sparse(count)
    mean[none], spread[none] = np.nan, np.nan
    nominal = field.at(np.repeat(middle, angles), np.tile(angle, heights)).reshape(shape)
    return RadiusMap(
        middle,
        angle,
        nominal + mean.reshape(shape),
        nominal,
        spread.reshape(shape),
        count.reshape(shape),
    )


def cell_middles(field: RadiusField, heights: int, angles: int) -> tuple[FloatArray, FloatArray]:
    """Return the middles of the cells of a map: heights, mm, and angles, rad."""
    edges = np.linspace(field.heights[0], field.heights[-1], heights + 1)
    angle = -np.pi + 2.0 * np.pi * (np.arange(angles) + 0.5) / angles
    return np.asarray(0.5 * (edges[1:] + edges[:-1])), angle


def cell_of(points: FloatArray, field: RadiusField, heights: int, angles: int) -> tuple[IntArray, FloatArray]:
    """Return the cell of each point, -1 beyond the ends, and its radius less the nominal one, mm."""
    edges = np.linspace(field.heights[0], field.heights[-1], heights + 1)
    row = np.searchsorted(edges, points[:, 2], side="right") - 1
    radius, θ = polar(points)
    column = np.floor((θ / (2.0 * np.pi) + 0.5) * angles).astype(np.int64) % angles
    cell = np.where((row >= 0) & (row < heights), row * angles + column, -1)
    return cell, radius - field.at(points[:, 2], θ)


def sparse(count: FloatArray) -> BoolArray:
    """Return which cells have too few points to count, judged by their number."""
    some = count > 0
    return np.asarray(count < (_SPARSE * np.median(count[some]) if some.any() else 1.0))


def near_medians(values: FloatArray, weight: FloatArray, group: IntArray, groups: int) -> BoolArray:
    """Return which values are not outliers of their group."""
    off = np.abs(values - _medians(values, weight, group, groups)[group])
    limit = _OUTLYING * 1.4826 * _medians(off, weight, group, groups)
    return np.asarray(off <= limit[group] + 1e-9)


def radius_band(found: RadiusMap) -> RadiusBand:
    """Return mean radius and band over height; ``nan`` where the scan has no point at a height."""
    known = np.isfinite(found.radius)
    some = known.any(axis=1)
    rows = np.full((4, len(found.height)), np.nan)
    rows[0, some] = np.nanmean(found.radius[some], axis=1)
    rows[1:3, some] = np.nanpercentile(found.radius[some], [5.0, 95.0], axis=1)
    rows[3, some] = np.nanmean(np.where(known, found.nominal, np.nan)[some], axis=1)
    return RadiusBand(found.height, *rows)


def enclosed_volume(found: RadiusMap) -> EnclosedVolume:
    """Return the volumes enclosed by the scan and by the simulated surface: the sum of r²/2 Δθ Δz.

    Raises:
        InputError: The map has no point.
    """
    known = np.isfinite(found.radius)
    if not known.any():
        raise InputError("volume: no point of the scan is within the heights of the surface.")
    filled = found.difference.ravel()[fill_index(known)].reshape(known.shape)
    step = (found.height[1] - found.height[0]) * 2.0 * np.pi / len(found.angle)
    scan = 0.5 * step * ((found.nominal + filled) ** 2).sum()
    return EnclosedVolume(
        float(scan), float(0.5 * step * (found.nominal**2).sum()), float(1.0 - known.mean())
    )


def _robust_means(
    values: FloatArray, weight: FloatArray, group: IntArray, groups: int
) -> tuple[FloatArray, FloatArray]:
    """Mean and spread of each group without what is far from its median; ``nan`` of empty groups."""
    near = near_medians(values, weight, group, groups)
    kept, share, index = values[near], weight[near], group[near]
    with np.errstate(invalid="ignore", divide="ignore"):
        total = np.bincount(index, share, groups)
        mean = np.bincount(index, share * kept, groups) / total
        variance = np.bincount(index, share * (kept - mean[index]) ** 2, groups) / total
    return mean, np.sqrt(variance)


def _medians(values: FloatArray, weight: FloatArray, group: IntArray, groups: int) -> FloatArray:
    """Weighted median of each group, the upper one if there are two; 0 of empty groups."""
    order = np.lexsort([values, group])
    cumulative = np.cumsum(weight[order])
    total = np.bincount(group, weight, groups)
    place = np.searchsorted(cumulative, np.cumsum(total) - 0.5 * total, side="right")
    found = np.append(values[order], 0.0)[np.minimum(place, len(order))]
    return np.asarray(np.where(total > 0, found, 0.0))


def fill_index(known: BoolArray) -> IntArray:
    """Return for each cell the number of the nearest known one, shape (h a,); angles go around."""
    width = known.shape[1]
    row, column = distance_transform_edt(
        ~np.tile(known, (1, 3)), return_distances=False, return_indices=True
    )[:, :, width : 2 * width]
    return np.asarray(row * width + column % width).ravel()
