# SPDX-License-Identifier: MIT
"""Normal, hoop and axial directions of a wall at the nodes of its cells."""

import numpy as np

from annelid.geometry.body import Body, FloatArray, IntArray


def wall_frames(body: Body, cells: IntArray | None = None) -> FloatArray:
    """Return the wall directions (normal, hoop, axial) at the nodes of cells as rows, (m, k, 3, 3)."""
    return np.stack(wall_directions(body, cells), axis=-2)


def wall_directions(body: Body, cells: IntArray | None = None) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return the wall directions (normal, hoop, axial) at the nodes of cells, each of shape (m, k, 3)."""
    members = body.cells if cells is None else body.cells[cells]
    normal = body.normal[members]
    if body.hoop is None:
        zero, one = np.zeros(normal.shape[:2]), np.ones(normal.shape[:2])
        n = np.stack([normal[..., 0], zero, normal[..., 1]], axis=-1)
        hoop = np.stack([zero, one, zero], axis=-1)
        axial = np.stack([-normal[..., 1], zero, normal[..., 0]], axis=-1)
    else:
        n, hoop = normal, body.hoop[members]
        axial = np.cross(n, hoop)
    return n, hoop, axial
