# SPDX-License-Identifier: MIT
"""Triangles of a flat pattern as a record, and their copies side by side."""

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from annelid.geometry.body import FloatArray, IntArray

_SEAM = 1e-6  # of the width, within which a corner lies on a seam

BoolArray = NDArray[np.bool_]


class FlatMesh(NamedTuple):
    """Triangles of one period of a flat pattern.

    Attributes:
        points: Positions of the corners from the corner of the period, shape (n, 2), in the units of the
            pattern.
        triangles: Counter-clockwise corners, shape (m, 3).
        strut: Whether each triangle lies on a strut, shape (m,).
        origin: Where the corner of the period lies in the pattern.
        rank: Order of the corners, the same in every copy of a period, shape (n,): prisms are cut by it.
        disc: The flat piece of each corner, shape (n,): 0 for the pattern, others for discs over poles.
        twin: Corner at the same place that is to be taken instead of each, mostly itself, shape (n,).
    """

    points: FloatArray
    triangles: IntArray
    strut: BoolArray
    origin: tuple[float, float]
    rank: IntArray
    disc: IntArray
    twin: IntArray


def tiled(mesh: FlatMesh, width: float, copies: int) -> FlatMesh:
    """Set copies of a period along x side by side, joined at their seams.

    Args:
        mesh: One period, its seams in x matching.
        width: Its width.
        copies: How many.
    """
    slip = _SEAM * width
    near, far = (np.flatnonzero(np.abs(mesh.points[:, 0] - x) < slip) for x in (0.0, width))
    near, far = (side[np.argsort(mesh.points[side, 1])] for side in (near, far))
    count = len(mesh.points)
    number = np.arange(copies)[:, None] * count + np.arange(count)
    number[1:, near] = number[:-1, far]
    rank = np.arange(count)
    rank[far] = near
    points = np.tile(mesh.points, (copies, 1))
    points[:, 0] += np.repeat(np.arange(copies) * width, count)
    triangles = number[:, mesh.triangles].reshape(-1, 3)
    used, triangles = np.unique(triangles, return_inverse=True)
    return FlatMesh(
        points[used],
        triangles.reshape(-1, 3),
        np.tile(mesh.strut, copies),
        mesh.origin,
        np.tile(rank, copies)[used],
        np.zeros(len(used), dtype=np.int64),
        np.arange(len(used)),
    )
