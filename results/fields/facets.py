# SPDX-License-Identifier: MIT
"""Second-order lines and faces split into straight segments and plane triangles."""

from collections.abc import Mapping

import numpy as np

from annelid.geometry.body import FloatArray, IntArray

# Node order of VTK: corners, then mid-sides, then the centre.
TRIANGLES: Mapping[int, IntArray] = {
    6: np.array([[0, 3, 5], [3, 1, 4], [5, 4, 2], [3, 4, 5]]),
    9: np.array([[0, 4, 8], [0, 8, 7], [4, 1, 5], [4, 5, 8], [8, 5, 2], [8, 2, 6], [7, 8, 6], [7, 6, 3]]),
}
SEGMENTS: IntArray = np.array([[0, 2], [2, 1]])

CELL_FACES: Mapping[str, IntArray] = {
    "quad9": np.array([[0, 1, 4], [1, 2, 5], [2, 3, 6], [3, 0, 7]]),
    "hexahedron27": np.array(
        [
            [0, 4, 7, 3, 16, 15, 19, 11, 20],
            [1, 2, 6, 5, 9, 18, 13, 17, 21],
            [0, 1, 5, 4, 8, 17, 12, 16, 22],
            [3, 7, 6, 2, 19, 14, 18, 10, 23],
            [0, 3, 2, 1, 11, 10, 9, 8, 24],
            [4, 5, 6, 7, 12, 13, 14, 15, 25],
        ]
    ),
    "tetra10": np.array([[0, 1, 3, 4, 8, 7], [1, 2, 3, 5, 9, 8], [2, 0, 3, 6, 7, 9], [0, 2, 1, 6, 5, 4]]),
}


def triangulated(faces: IntArray) -> IntArray:
    """Split faces, shape (f, 6 or 9), into plane triangles, shape (t, 3), of the same orientation."""
    return faces[:, TRIANGLES[faces.shape[1]]].reshape(-1, 3)


def line_segments(lines: IntArray) -> IntArray:
    """Split three-node lines, shape (f, 3), into straight segments, shape (2 f, 2)."""
    return lines[:, SEGMENTS].reshape(-1, 2)


def boundary_faces(cells: IntArray, cell_type: str, *, members: IntArray | None = None) -> IntArray:
    """Return the faces (lines in the meridian) that belong to only one cell, with outward orientation.

    Args:
        cells: Node numbers of the cells.
        cell_type: One of ``CELL_FACES``.
        members: Other numbers of the same nodes (for instance of grid points), which are returned instead.

    Returns:
        Shape (f, nodes per face).
    """
    local = CELL_FACES[cell_type]
    faces = cells[:, local].reshape(-1, local.shape[1])
    corners = {"quad9": 2, "hexahedron27": 4, "tetra10": 3}[cell_type]
    keys = np.sort(faces[:, :corners], axis=1)
    _, first, count = np.unique(keys, axis=0, return_index=True, return_counts=True)
    outer = first[count == 1]
    return (faces if members is None else members[:, local].reshape(faces.shape))[outer]


def compact(points: FloatArray, members: IntArray) -> tuple[FloatArray, IntArray, IntArray]:
    """Return the points that are used, the renumbered members and the old numbers of the points."""
    is_used = np.zeros(len(points), dtype=bool)
    is_used[members] = True
    used = np.flatnonzero(is_used)
    return points[used], (np.cumsum(is_used) - 1)[members], used


def revolved(lines: IntArray, count: int, around: int, *, full: bool) -> IntArray:
    """Sweep segments of a meridian around the axis and split the surface into triangles.

    Args:
        lines: Segments, shape (s, 2), point numbers below ``count``.
        count: Points of the meridian; point ``i`` of station ``k`` is number ``k * count + i``.
        around: Number of stations.
        full: Whether the last station is connected to the first.

    Returns:
        Triangles, shape (t, 3).
    """
    stations = np.arange(around if full else around - 1)[:, None] * count
    following = (stations + count) % (around * count)
    a, b = lines[:, 0], lines[:, 1]
    first = np.stack([a + stations, b + stations, b + following], axis=-1)
    second = np.stack([a + stations, b + following, a + following], axis=-1)
    return np.concatenate([first.reshape(-1, 3), second.reshape(-1, 3)])


def without_degenerate_triangles(triangles: IntArray) -> IntArray:
    """Remove triangles that contain a point twice, as at a pole."""
    a, b, c = triangles.T
    return triangles[(a != b) & (b != c) & (c != a)]
