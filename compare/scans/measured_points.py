# SPDX-License-Identifier: MIT
"""From the arrays of a file to checked points in millimetres with unit normals."""

import numpy as np

from annelid.compare.scans.file_content import FileContent, Unreadable
from annelid.compare.scans.point_cloud import PointCloud
from annelid.geometry.body import FloatArray, IntArray

LEAST_POINTS = 100  # fewer cannot show a shape
_EXTENTS = (0.1, 1e5)  # mm
_FARTHEST = 1e6  # mm from the origin


def measured_points(content: FileContent, scale: float) -> PointCloud:
    """Return the points of a file in mm.

    Args:
        content: The arrays of the file.
        scale: Millimetres in the unit of the file.

    Raises:
        Unreadable: The arrays are no scan: too few points, values that are not finite, sizes that no part
            has, triangles without area or between points that do not exist, normals without length.
    """
    points = np.array(content.points, dtype=np.float64, ndmin=2)
    _check_points(points, scale)
    points *= scale
    normals = None if content.normals is None else np.array(content.normals, dtype=np.float64)
    light = None if content.intensities is None else np.array(content.intensities, dtype=np.float64)
    for name, values, shape in (("normals", normals, points.shape), ("intensities", light, points.shape[:1])):
        if values is not None and (values.shape != shape or not np.isfinite(values).all()):
            raise Unreadable(f"its {name} are not one finite value for each point")
    faces = None if content.faces is None else np.asarray(content.faces, dtype=np.int64)
    if faces is not None and len(faces):
        return _mesh(points, normals, light, faces)
    return PointCloud(points, None if normals is None else _unit(normals), light, None)


def _check_points(points: FloatArray, scale: float) -> None:
    if points.ndim != 2 or points.shape[1] != 3 or len(points) < LEAST_POINTS:
        raise Unreadable(f"it has {len(points)} points, and a scan needs at least {LEAST_POINTS}")
    wrong = np.flatnonzero(~np.isfinite(points).all(axis=1))
    if len(wrong):
        raise Unreadable(
            f"{len(wrong)} of {len(points)} points are not finite, the first is number {wrong[0] + 1}; "
            "remove them"
        )
    largest = float(np.abs(points).max()) * scale
    if largest > _FARTHEST:
        raise Unreadable(f"a coordinate is {largest:.3g} mm, above {_FARTHEST:g} mm; check the unit")
    extent = float(np.ptp(points, axis=0).max()) * scale
    if not _EXTENTS[0] <= extent <= _EXTENTS[1]:
        allowed = f"{_EXTENTS[0]:g} mm to {_EXTENTS[1]:g} mm"
        raise Unreadable(f"its points extend over {extent:.3g} mm, allowed: {allowed}; check the unit")


def _mesh(
    points: FloatArray, normals: FloatArray | None, intensities: FloatArray | None, faces: IntArray
) -> PointCloud:
    """The points of triangles that have an area."""
    if faces.min() < 0 or faces.max() >= len(points):
        raise Unreadable("a triangle has a corner that is not among the points")
    a, b, c = np.moveaxis(points[faces], 1, 0)
    area = np.cross(b - a, c - a)
    longest = np.maximum(np.linalg.norm(b - a, axis=1), np.linalg.norm(c - a, axis=1))
    sound = np.linalg.norm(area, axis=1) > 1e-9 * longest**2
    if not sound.any():
        raise Unreadable("none of its triangles has an area")
    used, members = np.unique(faces[sound], return_inverse=True)
    if len(used) < LEAST_POINTS:
        raise Unreadable(f"its triangles have {len(used)} points, and a scan needs at least {LEAST_POINTS}")
    members = members.reshape(-1, 3)
    if normals is None or (normals[used] == 0.0).all(axis=1).any():
        own = _of_triangles(len(used), members, area[sound])
    else:
        own = normals[used]
    return PointCloud(points[used], _unit(own), None if intensities is None else intensities[used], members)


def _of_triangles(count: int, members: IntArray, area: FloatArray) -> FloatArray:
    """Normals of points as the sum of the areas of their triangles."""
    corners = members.ravel()
    total = np.column_stack([np.bincount(corners, np.repeat(part, 3), count) for part in area.T])
    size = np.bincount(corners, np.repeat(np.linalg.norm(area, axis=1), 3), count)
    cancelled = np.linalg.norm(total, axis=1) <= 1e-6 * size  # where two sides of a sheet share points
    anyone = np.empty_like(total)
    anyone[corners] = np.repeat(area, 3, axis=0)
    total[cancelled] = anyone[cancelled]
    return total


def _unit(vectors: FloatArray) -> FloatArray:
    largest = np.abs(vectors).max(axis=1, keepdims=True)
    if not (largest > 0.0).all():
        count = int((largest == 0.0).sum())
        raise Unreadable(f"{count} of {len(vectors)} normals have no length; correct them or leave them out")
    scaled = vectors / largest
    return np.asarray(scaled / np.linalg.norm(scaled, axis=1, keepdims=True))
