# SPDX-License-Identifier: MIT
"""Deformed surfaces as triangles, in binary PLY and STL, for comparison with scans and for printing."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from annelid.geometry.body import Body
from annelid.results.fields.facets import (
    compact,
    cut_lines,
    revolved,
    stations,
    triangulated,
    without_slivers,
)

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

_AROUND = 96


@dataclass(frozen=True)
class Surface:
    """A triangulated surface, lengths in mm.

    Attributes:
        points: Shape (n, 3).
        triangles: Shape (t, 3); the normals point along the wall normal, away from the lumen.
    """

    points: FloatArray
    triangles: IntArray


def deformed_surface(body: Body, displacement: FloatArray, name: str, *, around: int = _AROUND) -> Surface:
    """Return a named surface of the body in its deformed place.

    An axisymmetric surface is revolved; a sector is completed to the whole part when a whole number of
    its copies makes one turn.

    Args:
        body: The body.
        displacement: Nodal displacement, shape of ``body.points``, mm.
        name: Name in ``body.surfaces``.
        around: Stations around the circumference (axisymmetric only).

    Returns:
        The surface; triangles of no area, as at a pole, are left out.
    """
    facets = body.facets[body.surfaces[name]]
    points = body.points + displacement
    if body.model == "axisymmetric":
        surface = _revolved_surface(points, body.normal, facets, around)
    else:
        surface = _along_normal(points, body.normal, triangulated(facets))
        if body.model == "sector":
            surface = _completed(surface, body.multiplicity)
    return Surface(surface.points, without_slivers(surface.triangles))


def ply(surface: Surface) -> bytes:
    """Return the surface as a binary (little-endian) PLY file with double coordinates in mm."""
    head = (
        "ply\nformat binary_little_endian 1.0\ncomment lengths in mm\n"
        f"element vertex {len(surface.points)}\nproperty double x\nproperty double y\nproperty double z\n"
        f"element face {len(surface.triangles)}\nproperty list uchar int vertex_indices\nend_header\n"
    )
    faces = np.empty(len(surface.triangles), dtype=[("count", "u1"), ("corners", "<i4", 3)])
    faces["count"] = 3
    faces["corners"] = surface.triangles
    return head.encode() + surface.points.astype("<f8").tobytes() + faces.tobytes()


def stl(surface: Surface) -> bytes:
    """Return the surface as a binary STL file, mm."""
    corners = surface.points[surface.triangles]
    normals = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    normals /= np.linalg.norm(normals, axis=1, keepdims=True)
    records = np.zeros(
        len(corners), dtype=[("normal", "<f4", 3), ("corners", "<f4", (3, 3)), ("spare", "<u2")]
    )
    records["normal"] = normals
    records["corners"] = corners
    return b"lengths in mm".ljust(80) + np.array(len(corners), dtype="<u4").tobytes() + records.tobytes()


def _revolved_surface(points: FloatArray, normal: FloatArray, facets: IntArray, around: int) -> Surface:
    meridian, lines, used = compact(points, cut_lines(facets))
    a, b = meridian[lines[:, 0]], meridian[lines[:, 1]]
    # Swept towards growing angle (X to Y), a segment along +Z has a triangle normal along -R.
    swept = np.column_stack([a[:, 1] - b[:, 1], b[:, 0] - a[:, 0]])
    wrong = (normal[used][lines].mean(axis=1) * swept).sum(axis=1) < 0
    lines = np.where(wrong[:, None], lines[:, ::-1], lines)
    angles = np.linspace(0.0, 2.0 * np.pi, around, endpoint=False)
    triangles = revolved(lines, len(meridian), around, full=True)
    return _merged_at_axis(Surface(stations(meridian, angles), triangles), meridian, around)


def _merged_at_axis(surface: Surface, meridian: FloatArray, around: int) -> Surface:
    """Let all stations share the points on the axis, so that a pole is closed."""
    number = np.arange(len(surface.points)).reshape(around, len(meridian))
    on_axis = meridian[:, 0] <= 1e-9 * max(np.ptp(meridian), 1.0)
    number[:, on_axis] = number[0, on_axis]
    points, triangles, _ = compact(surface.points, number.ravel()[surface.triangles])
    return Surface(points, triangles)


def _along_normal(points: FloatArray, normal: FloatArray, triangles: IntArray) -> Surface:
    corners, renumbered, used = compact(points, triangles)
    p = corners[renumbered]
    area = np.cross(p[:, 1] - p[:, 0], p[:, 2] - p[:, 0])
    wrong = (area * normal[used][renumbered].mean(axis=1)).sum(axis=1) < 0
    return Surface(corners, np.where(wrong[:, None], renumbered[:, ::-1], renumbered))


def _completed(surface: Surface, copies: float) -> Surface:
    """Repeat a sector that starts at angle 0 around the axis.

    Its sides are mirror planes, so an even number of copies alternates with mirror images; an odd number
    can only be turned, which is exact for a sector that is its own mirror image.
    """
    count = round(copies)
    if count < 2 or abs(copies - count) > 1e-9:
        return surface
    angle = 2.0 * np.pi / count
    mirrored = Surface(surface.points * [1.0, -1.0, 1.0], surface.triangles[:, ::-1])
    pieces = []
    for k in range(count):
        if count % 2 == 0 and k % 2 == 1:
            pieces.append(_turned(mirrored, (k + 1) * angle))
        else:
            pieces.append(_turned(surface, k * angle))
    offsets = np.arange(count) * len(surface.points)
    return Surface(
        np.concatenate([piece.points for piece in pieces]),
        np.concatenate([piece.triangles + offset for piece, offset in zip(pieces, offsets, strict=True)]),
    )


def _turned(surface: Surface, angle: float) -> Surface:
    c, s = np.cos(angle), np.sin(angle)
    turn = np.array([[c, s, 0.0], [-s, c, 0.0], [0.0, 0.0, 1.0]])
    return Surface(surface.points @ turn, surface.triangles)
