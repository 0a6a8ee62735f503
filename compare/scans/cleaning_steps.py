# SPDX-License-Identifier: MIT
"""The steps of the cleaning: each returns the positions of the points that it removes, and why."""

from collections.abc import Callable, Mapping

import numpy as np

from annelid.compare.scans.cleaning_settings import Cleaning
from annelid.compare.scans.grouping import (
    cell_numbers,
    connected_groups,
    first_of_equal_rows,
    search_tree,
)
from annelid.compare.scans.point_cloud import PointCloud
from annelid.geometry.body import FloatArray, IntArray
from annelid.geometry.errors import InvalidValue

Step = Callable[[PointCloud, Cleaning, float], tuple[IntArray, str]]

_MAD_TO_DEVIATION = 1.4826  # of a normal distribution
_LEAST_DEVIATION = 0.15  # with less, the edges of an even grid, where the distances are √2 times longer, go
_LEAST_SATURATED = 0.002  # share of the points with exactly the largest intensity
_NONE = np.empty(0, dtype=np.int64)


def point_spacing(points: FloatArray) -> float:
    """Return the median distance from a point to the nearest other point that does not coincide, mm.

    Raises:
        InvalidValue: There are no three points at different places.
    """
    distance = _to_nearest(points) if len(points) >= 3 else np.zeros(1)
    if not distance.all():  # only now, because the search for equal points takes longer
        first, _ = first_of_equal_rows(points)
        if len(first) < 3:
            problem = f"{len(first)} points at different places; at least 3 are needed"
            raise InvalidValue(problem, subject="scan")
        distance = _to_nearest(points[first])
    return float(np.median(distance))


def _to_nearest(points: FloatArray) -> FloatArray:
    """Distances to the nearest other point of at least 20,000 of the points, mm."""
    sample = points[:: max(len(points) // 20_000, 1)]
    return np.asarray(search_tree(points).query(sample, k=2)[0][:, 1])


def _duplicates(left: PointCloud, settings: Cleaning, spacing: float) -> tuple[IntArray, str]:
    edge = settings.duplicate_distance * spacing
    if edge == 0.0:
        return _NONE, "not asked for"
    first, _ = first_of_equal_rows(cell_numbers(left.points, edge))
    return _others(len(left.points), first), f"points within {edge:.2g} mm of another one"


def _saturated(left: PointCloud, settings: Cleaning, spacing: float) -> tuple[IntArray, str]:
    light, limit = left.intensities, settings.saturated_intensity
    if light is None:
        return _NONE, "left out: the scan has no intensities"
    if limit == np.finfo(float).max:
        return _NONE, "not asked for"
    if limit is None:
        limit = float(light.max())
        if not _LEAST_SATURATED <= np.mean(light == limit) < 1.0:
            return _NONE, f"few points, or all, have the largest intensity, {limit:g}"
    return np.flatnonzero(light >= limit), f"intensity saturated at {limit:g}"


def _dark(left: PointCloud, settings: Cleaning, spacing: float) -> tuple[IntArray, str]:
    if settings.least_intensity is None:
        return _NONE, "not asked for"
    if left.intensities is None:
        problem = "was given, but the scan has no intensities"
        raise InvalidValue(problem, key="least_intensity", subject="cleaning")
    return np.flatnonzero(left.intensities < settings.least_intensity), (
        f"intensity below {settings.least_intensity:g}"
    )


def _grazing(left: PointCloud, settings: Cleaning, spacing: float) -> tuple[IntArray, str]:
    if left.normals is None:
        return _NONE, "left out: the scan has no normals"
    if settings.scanner_position is not None:
        to_scanner = np.asarray(settings.scanner_position, dtype=float) - left.points
    elif settings.view_direction is not None:
        to_scanner = -np.asarray(settings.view_direction, dtype=float)[None]
    else:
        return _NONE, "left out: neither position nor direction of the scanner is given"
    least = np.cos(np.radians(settings.grazing_angle_deg)) * np.linalg.norm(to_scanner, axis=1)
    cosine = (left.normals * to_scanner).sum(axis=1)
    return np.flatnonzero(cosine < least), f"seen at more than {settings.grazing_angle_deg:g}° to the normal"


def _outliers(left: PointCloud, settings: Cleaning, spacing: float) -> tuple[IntArray, str]:
    if settings.outlier_deviations == 0.0 or len(left.points) <= settings.neighbours:
        return _NONE, "not asked for, or too few points"
    distance, _ = search_tree(left.points).query(left.points, k=settings.neighbours + 1)
    mean = np.log(np.maximum(distance[:, 1:].mean(axis=1), 1e-9 * spacing))
    middle = float(np.median(mean))
    deviation = max(_MAD_TO_DEVIATION * float(np.median(np.abs(mean - middle))), _LEAST_DEVIATION)
    limit = middle + settings.outlier_deviations * deviation
    why = f"mean distance to {settings.neighbours} neighbours above {np.exp(limit):.3g} mm"
    return np.flatnonzero(mean > limit), why


def _patches(left: PointCloud, settings: Cleaning, spacing: float) -> tuple[IntArray, str]:
    gap, share = settings.patch_gap * spacing, settings.smallest_patch
    if share == 0.0 or not len(left.points):
        return _NONE, "not asked for, or no points are left"
    groups = connected_groups(left.points, gap)
    small = np.bincount(groups) < share * len(left.points)
    why = f"{int(small.sum())} patches of under {100 * share:g} % of the points, over {gap:.3g} mm away"
    return np.flatnonzero(small[groups]), why


def _voxels(left: PointCloud, settings: Cleaning, spacing: float) -> tuple[IntArray, str]:
    edge, points = settings.voxel_mm or settings.voxel * spacing, left.points
    if edge == 0.0 or not len(points):
        return _NONE, "not asked for, or no points are left"
    _, voxel = first_of_equal_rows(cell_numbers(points, edge))
    count = np.bincount(voxel)
    middle = np.column_stack([np.bincount(voxel, column) / count for column in points.T])
    order = np.lexsort((np.linalg.norm(points - middle[voxel], axis=1), voxel))
    central = order[np.cumsum(count) - count]
    return _others(len(points), central), f"all but the most central point in each cube of {edge:.3g} mm"


STEPS: Mapping[str, Step] = {
    "duplicates": _duplicates,
    "saturated": _saturated,
    "dark": _dark,
    "grazing": _grazing,
    "outliers": _outliers,
    "isolated patches": _patches,
    "down-sampling": _voxels,
}
"""The steps in their order, by name."""


def _others(count: int, kept: IntArray) -> IntArray:
    out = np.ones(count, dtype=bool)
    out[kept] = False
    return np.flatnonzero(out)
