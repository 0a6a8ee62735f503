# SPDX-License-Identifier: MIT
"""Triangles of a flat pattern, and copies of them side by side."""

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from annelid.geometry.body import FloatArray, IntArray

_ON_EDGE = 1e-6  # of the width: distance within which a corner is on a periodic edge

BoolArray = NDArray[np.bool_]


class FlatMesh(NamedTuple):
    """Triangles of one period of a flat pattern.

    Attributes:
        points: Positions of the corners relative to the corner of the period, shape (n, 2), in the units of
            the pattern.
        triangles: Corners of each triangle, counter-clockwise, shape (m, 3).
        on_strut: Whether each triangle is on a strut, shape (m,).
        origin: Position of the corner of the period in the pattern.
        cutting_rank: Rank of each corner, the same in every copy of a period, by which prisms are divided
            into tetrahedra, shape (n,).
        piece: Flat piece of each corner: 0 for the pattern, other numbers for discs over poles, shape (n,).
        representative: The corner itself, or the corner at the same position that replaces it, shape (n,).
    """

    points: FloatArray
    triangles: IntArray
    on_strut: BoolArray
    origin: tuple[float, float]
    cutting_rank: IntArray
    piece: IntArray
    representative: IntArray


def tiled(mesh: FlatMesh, width: float, copies: int) -> FlatMesh:
    """Set copies of a period side by side along x and merge their common corners.

    Args:
        mesh: One period, whose edges in x match.
        width: Width of the period.
        copies: Number of copies.
    """
    tolerance = _ON_EDGE * width
    near, far = (np.flatnonzero(np.abs(mesh.points[:, 0] - x) < tolerance) for x in (0.0, width))
    near, far = (side[np.argsort(mesh.points[side, 1])] for side in (near, far))
    count = len(mesh.points)
    number = np.arange(copies)[:, None] * count + np.arange(count)
    number[1:, near] = number[:-1, far]
    cutting_rank = np.arange(count)
    cutting_rank[far] = near
    points = np.tile(mesh.points, (copies, 1))
    points[:, 0] += np.repeat(np.arange(copies) * width, count)
    triangles = number[:, mesh.triangles].reshape(-1, 3)
    used, triangles = np.unique(triangles, return_inverse=True)
    return FlatMesh(
        points[used],
        triangles.reshape(-1, 3),
        np.tile(mesh.on_strut, copies),
        mesh.origin,
        np.tile(cutting_rank, copies)[used],
        np.zeros(len(used), dtype=np.int64),
        np.arange(len(used)),
    )
