# SPDX-License-Identifier: MIT
"""The cut of a solid mesh by the plane Y = 0, whose points are interpolated between those of the mesh."""

from typing import NamedTuple

import numpy as np

from annelid.geometry.body import FloatArray, IntArray

_OF_HEXAHEDRON = np.array(
    [[0, 1, 2, 6], [0, 2, 3, 6], [0, 3, 7, 6], [0, 7, 4, 6], [0, 4, 5, 6], [0, 5, 1, 6]]
)
_OFF = 1e-6  # of the size: a plane through nodes would contain whole faces


class PlaneCut(NamedTuple):
    """Triangles in a plane.

    Attributes:
        ends: Mesh points between which each point of the cut lies, shape (p, 2).
        fraction: Distance from the first of them over that of both, shape (p,).
        triangles: Shape (t, 3).
    """

    ends: IntArray
    fraction: FloatArray
    triangles: IntArray

    def at(self, values: FloatArray) -> FloatArray:
        """Return values at the points of the cut, given those at the points of the mesh."""
        first, second = values[self.ends[:, 0]], values[self.ends[:, 1]]
        fraction = self.fraction.reshape(-1, *[1] * (values.ndim - 1))
        return np.asarray(first + fraction * (second - first))


def plane_cut(points: FloatArray, cells: IntArray) -> PlaneCut:
    """Cut a mesh by the plane Y = 0.

    Args:
        points: Shape (n, 3).
        cells: Straight hexahedra or tetrahedra in the node order of VTK, shape (m, 8 or 4).
    """
    y = points[:, 1] - _OFF * float(np.ptp(points, axis=0).max())
    split = _OF_HEXAHEDRON if cells.shape[1] == 8 else np.arange(4)[None]
    above = y[cells] > 0
    crossed = cells[above.any(axis=1) & ~above.all(axis=1)]
    tetrahedra = crossed[:, split].reshape(-1, 4)
    order = np.argsort(y[tetrahedra] > 0, axis=1, kind="stable")  # corners below the plane come first
    corners = np.take_along_axis(tetrahedra, order, axis=1)
    count = (y[tetrahedra] > 0).sum(axis=1)
    one, two, three = (corners[count == k] for k in (1, 2, 3))
    edges = [
        one[:, [[3, 0], [3, 1], [3, 2]]],
        three[:, [[0, 1], [0, 2], [0, 3]]],
        two[:, [[0, 2], [0, 3], [1, 3]]],
        two[:, [[0, 2], [1, 3], [1, 2]]],
    ]
    ends = np.sort(np.concatenate(edges).reshape(-1, 2), axis=1)
    unique, numbers = np.unique(ends, axis=0, return_inverse=True)
    triangles = numbers.reshape(-1, 3)
    low, high = y[unique[:, 0]], y[unique[:, 1]]
    return PlaneCut(unique, low / (low - high), triangles)


def outline(triangles: IntArray) -> IntArray:
    """Return the edges that belong to only one triangle, shape (k, 2)."""
    edges = np.sort(triangles[:, [[0, 1], [1, 2], [2, 0]]].reshape(-1, 2), axis=1)
    unique, count = np.unique(edges, axis=0, return_counts=True)
    return unique[count == 1]
