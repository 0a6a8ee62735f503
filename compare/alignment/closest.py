# SPDX-License-Identifier: MIT
"""The closest points of a triangulated surface, with sign, and whether they lie on an open edge."""

from typing import NamedTuple

import igl
import numpy as np

from annelid.compare.alignment.surface import BoolArray, NominalSurface
from annelid.compare.scans.grouping import spatial_order
from annelid.geometry.body import FloatArray, IntArray

_ON_EDGE = 1e-9  # barycentric coordinate


class Closest(NamedTuple):
    """Closest points of a surface to n points.

    Attributes:
        signed: Distance to the surface, positive outside, shape (n,), mm.
        foot: Closest point of the surface, shape (n, 3), mm.
        triangle: The triangle that contains it, shape (n,).
        beyond: Whether the point is beyond an open edge: its foot is on the edge, but the point is not on
            the normal of the surface there, so it has no partner; shape (n,).
    """

    signed: FloatArray
    foot: FloatArray
    triangle: IntArray
    beyond: BoolArray

    def smooth_normals(self, surface: NominalSurface) -> FloatArray:
        """Return unit normals at the feet, interpolated between the points of the surface, shape (n, 3)."""
        weights = surface.barycentric(self.foot, self.triangle)
        normals = surface.vertex_normals[surface.triangles[self.triangle]]
        mean = np.einsum("nk,nki->ni", weights, normals)
        return np.asarray(mean / np.linalg.norm(mean, axis=1, keepdims=True))


class SurfaceLocator:
    """Search for the closest points of one surface."""

    def __init__(self, surface: NominalSurface) -> None:
        self.surface = surface
        self._mesh = np.ascontiguousarray(surface.points), np.ascontiguousarray(surface.triangles)
        self._search = igl.AABB()
        self._search.init(*self._mesh)

    def closest(self, points: FloatArray) -> Closest:
        """Return the closest points of the surface.

        The sign is that of the normal at the foot, at an edge or a corner that of the angle-weighted normal
        (Bærentzen and Aanæs 2005, IEEE Trans. Vis. Comput. Graph. 11:243, from memory).

        Args:
            points: Shape (n, 3), mm.
        """
        triangle, foot = np.empty(len(points), dtype=np.int64), np.empty((len(points), 3))
        if len(points):
            order = spatial_order(points)  # in which the search takes half the time (measured)
            _, triangle[order], foot[order] = self._search.squared_distance(*self._mesh, points[order])
        normal, at_open_edge = _at(self.surface, foot, triangle)
        offset = points - foot
        distance = np.linalg.norm(offset, axis=1)
        along = np.einsum("ni,ni->n", offset, self.surface.normals[triangle])
        beyond = at_open_edge & (np.abs(along) < (1.0 - _ON_EDGE) * distance)
        sign = np.where(np.einsum("ni,ni->n", offset, normal) < 0, -1.0, 1.0)
        return Closest(sign * distance, foot, triangle, beyond)


def _at(surface: NominalSurface, foot: FloatArray, triangle: IntArray) -> tuple[FloatArray, BoolArray]:
    """Return the angle-weighted normals at feet, not of unit length, and whether these are on open edges."""
    weights = surface.barycentric(foot, triangle)
    zero = np.abs(weights) < _ON_EDGE
    normal = surface.normals[triangle]
    on_edge = np.flatnonzero(zero.sum(axis=1) == 1)
    normal[on_edge] = surface.edge_normals[triangle[on_edge], zero[on_edge].argmax(axis=1)]
    at_corner = np.flatnonzero(zero.sum(axis=1) == 2)
    corner = surface.triangles[triangle[at_corner], weights[at_corner].argmax(axis=1)]
    normal[at_corner] = surface.vertex_normals[corner]
    at_open_edge = (zero & surface.open_sides[triangle]).any(axis=1)
    at_open_edge[at_corner] |= surface.open_points[corner]
    return normal, at_open_edge
