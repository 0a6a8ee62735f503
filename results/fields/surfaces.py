# SPDX-License-Identifier: MIT
"""Deformed surfaces as triangles in binary PLY and STL files, for comparison with scans and for printing."""

from dataclasses import dataclass

import numpy as np

from annelid.geometry.body import Body, FloatArray, IntArray
from annelid.results.fields.facets import (
    compact,
    line_segments,
    revolved,
    triangulated,
    without_degenerate_triangles,
)
from annelid.results.fields.state_fields import in_meridian, in_space

_STATIONS = 96


@dataclass(frozen=True)
class Surface:
    """A triangulated surface, lengths in mm.

    Attributes:
        points: Shape (n, 3).
        triangles: Shape (t, 3); their normals have the direction of the wall normal, away from the lumen.
    """

    points: FloatArray
    triangles: IntArray


def deformed_surface(body: Body, displacement: FloatArray, name: str, *, around: int = _STATIONS) -> Surface:
    """Return a named surface of the body in the deformed configuration.

    An axisymmetric surface is revolved. A sector is completed to the whole part if an integer number of
    copies fills the circumference.

    Args:
        body: The body.
        displacement: Nodal displacement, shape of ``body.points``, or in X, Y, Z of a turned meridian, mm.
        name: Name in ``body.surfaces``.
        around: Number of stations around the circumference (axisymmetric bodies only).

    Returns:
        The surface without degenerate triangles, which occur at a pole.
    """
    facets = body.facets[body.surfaces[name]]
    if body.model == "axisymmetric":
        points = in_space(body.points) + in_space(displacement)
        surface = _revolved_surface(points, body.normal, facets, around)
    else:
        surface = _along_normal(body.points + displacement, body.normal, triangulated(facets))
        if body.model == "sector":
            surface = _completed(surface, body.multiplicity)
    return Surface(surface.points, without_degenerate_triangles(surface.triangles))


def ply(surface: Surface) -> bytes:
    """Return the surface as a binary (little-endian) PLY file with double coordinates in mm."""
    header = (
        "ply\nformat binary_little_endian 1.0\ncomment lengths in mm\n"
        f"element vertex {len(surface.points)}\nproperty double x\nproperty double y\nproperty double z\n"
        f"element face {len(surface.triangles)}\nproperty list uchar int vertex_indices\nend_header\n"
    )
    faces = np.empty(len(surface.triangles), dtype=[("count", "u1"), ("corners", "<i4", 3)])
    faces["count"] = 3
    faces["corners"] = surface.triangles
    return header.encode() + surface.points.astype("<f8").tobytes() + faces.tobytes()


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
    placed, lines, used = compact(points, line_segments(facets))
    meridian = in_meridian(placed)
    a, b = meridian[lines[:, 0]], meridian[lines[:, 1]]
    # Swept towards increasing angle (X to Y), a segment along +Z has a triangle normal along -R.
    swept = np.column_stack([a[:, 1] - b[:, 1], b[:, 0] - a[:, 0]])
    reversed_lines = (normal[used][lines].mean(axis=1) * swept).sum(axis=1) < 0
    lines = np.where(reversed_lines[:, None], lines[:, ::-1], lines)
    angles = np.linspace(0.0, 2.0 * np.pi, around, endpoint=False)
    triangles = revolved(lines, len(meridian), around, full=True)
    swung = np.concatenate([_rotated(Surface(placed, triangles), angle).points for angle in angles])
    return _merged_at_axis(Surface(swung, triangles), meridian, around)


def _merged_at_axis(surface: Surface, meridian: FloatArray, around: int) -> Surface:
    """Use the same points on the axis for all stations, so that the surface is closed at a pole."""
    number = np.arange(len(surface.points)).reshape(around, len(meridian))
    on_axis = meridian[:, 0] <= 1e-9 * max(np.ptp(meridian), 1.0)
    number[:, on_axis] = number[0, on_axis]
    points, triangles, _ = compact(surface.points, number.ravel()[surface.triangles])
    return Surface(points, triangles)


def _along_normal(points: FloatArray, normal: FloatArray, triangles: IntArray) -> Surface:
    corners, renumbered, used = compact(points, triangles)
    p = corners[renumbered]
    area = np.cross(p[:, 1] - p[:, 0], p[:, 2] - p[:, 0])
    inverted = (area * normal[used][renumbered].mean(axis=1)).sum(axis=1) < 0
    return Surface(corners, np.where(inverted[:, None], renumbered[:, ::-1], renumbered))


def _completed(surface: Surface, copies: float) -> Surface:
    """Complete a sector that starts at angle 0 to the whole circumference.

    The sides of the sector are mirror planes. An even number of copies alternates between the sector and its
    mirror image; an odd number of copies can only be rotated, which is exact if the sector is symmetric.
    """
    count = round(copies)
    if count < 2 or abs(copies - count) > 1e-9:
        return surface
    angle = 2.0 * np.pi / count
    mirrored = Surface(surface.points * [1.0, -1.0, 1.0], surface.triangles[:, ::-1])
    pieces = []
    for k in range(count):
        if count % 2 == 0 and k % 2 == 1:
            pieces.append(_rotated(mirrored, (k + 1) * angle))
        else:
            pieces.append(_rotated(surface, k * angle))
    offsets = np.arange(count) * len(surface.points)
    return Surface(
        np.concatenate([piece.points for piece in pieces]),
        np.concatenate([piece.triangles + offset for piece, offset in zip(pieces, offsets, strict=True)]),
    )


def _rotated(surface: Surface, angle: float) -> Surface:
    c, s = np.cos(angle), np.sin(angle)
    rotation = np.array([[c, s, 0.0], [-s, c, 0.0], [0.0, 0.0, 1.0]])
    return Surface(surface.points @ rotation, surface.triangles)
