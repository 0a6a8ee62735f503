# SPDX-License-Identifier: MIT
"""The simulated surface that a scan is compared with, as oriented triangles."""

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from annelid.geometry.body import FloatArray, IntArray

BoolArray = NDArray[np.bool_]
_SIDES: IntArray = np.array([[1, 2], [2, 0], [0, 1]])  # side i is opposite to corner i


@dataclass(frozen=True)
class NominalSurface:
    """A triangulated surface that a scan should have, in the frame of the simulated part (axis Z).

    Attributes:
        points: Shape (n, 3), mm.
        triangles: Shape (t, 3), counter-clockwise when seen from outside, so that normals point outward.
        name: What it is, for sentences.
        chord_error: Largest distance between the triangles and the curved surface that they stand for, mm;
            0 if the triangles are the surface.
    """

    points: FloatArray
    triangles: IntArray
    name: str = "surface"
    chord_error: float = 0.0

    @cached_property
    def corners(self) -> FloatArray:
        """Positions of the corners of each triangle, shape (t, 3, 3), mm."""
        return self.points[self.triangles]

    @cached_property
    def _area_vectors(self) -> FloatArray:
        a, b, c = np.moveaxis(self.corners, 1, 0)
        return np.asarray(0.5 * np.cross(b - a, c - a))

    @cached_property
    def areas(self) -> FloatArray:
        """Area of each triangle, shape (t,), mm²."""
        return np.asarray(np.linalg.norm(self._area_vectors, axis=1))

    @cached_property
    def normals(self) -> FloatArray:
        """Outward unit normal of each triangle, shape (t, 3)."""
        return self._area_vectors / self.areas[:, None]

    @cached_property
    def _gradients(self) -> FloatArray:
        """Gradients of the second and the third barycentric coordinate in each triangle, shape (2, t, 3)."""
        a, b, c = np.moveaxis(self.corners, 1, 0)
        area = np.cross(b - a, c - a)
        both = np.stack([np.cross(c - a, area), np.cross(area, b - a)])
        return np.asarray(both / (area**2).sum(axis=1)[:, None])

    @cached_property
    def centroid(self) -> FloatArray:
        """Centre of area, shape (3,), mm."""
        return np.asarray(np.average(self.corners.mean(axis=1), axis=0, weights=self.areas))

    @cached_property
    def _edges(self) -> tuple[IntArray, IntArray]:
        """Edge number of each side of each triangle, shape (t, 3), and number of triangles at each edge."""
        ends = np.sort(self.triangles[:, _SIDES].reshape(-1, 2), axis=1)
        _, number, count = np.unique(ends, axis=0, return_inverse=True, return_counts=True)
        return number.reshape(-1, 3), count

    @cached_property
    def open_sides(self) -> BoolArray:
        """Whether each side (opposite to corner 0, 1, 2) of each triangle is an open edge, shape (t, 3)."""
        number, count = self._edges
        return np.asarray(count[number] == 1)

    @cached_property
    def open_points(self) -> BoolArray:
        """Whether each point is on an open edge, shape (n,)."""
        found = np.zeros(len(self.points), dtype=bool)
        triangle, side = np.nonzero(self.open_sides)
        found[self.triangles[triangle[:, None], _SIDES[side]]] = True
        return found

    @cached_property
    def edge_normals(self) -> FloatArray:
        """Sum of the normals of the triangles at each side, shape (t, 3, 3); only its direction matters."""
        number, count = self._edges
        total = np.zeros((len(count), 3))
        np.add.at(total, number.ravel(), np.repeat(self.normals, 3, axis=0))
        return np.asarray(total[number])

    @cached_property
    def vertex_normals(self) -> FloatArray:
        """Unit normals at the points, weighted by the angles of the triangles there, shape (n, 3)."""
        sides = np.roll(self.corners, -1, axis=1) - self.corners
        sides /= np.linalg.norm(sides, axis=2, keepdims=True)
        cosines = -(sides * np.roll(sides, 1, axis=1)).sum(axis=2)
        angles = np.arccos(np.clip(cosines, -1.0, 1.0))
        total = np.zeros_like(self.points)
        np.add.at(total, self.triangles, angles[..., None] * self.normals[:, None])
        return np.asarray(total / np.maximum(np.linalg.norm(total, axis=1, keepdims=True), 1e-300))

    @cached_property
    def principal(self) -> tuple[FloatArray, FloatArray]:
        """Extents along the principal axes, largest first, shape (3,), mm, and the axes as columns."""
        # The second moment of a triangle is exact with its corners and, nine times, its centre.
        off = self.corners - self.centroid
        moments = np.einsum("tki,tkj->tij", off, off)
        middle = off.mean(axis=1)
        moments += 9.0 * np.einsum("ti,tj->tij", middle, middle)
        _, axes = np.linalg.eigh(np.einsum("t,tij->ij", self.areas / 12.0, moments))
        extents = np.ptp((self.points - self.centroid) @ axes, axis=0)
        return extents[::-1], axes[:, ::-1] * [1.0, 1.0, np.linalg.det(axes[:, ::-1])]

    @cached_property
    def diameter(self) -> float:
        """Extent along the second principal axis, mm: the width of a long part."""
        return float(self.principal[0][1])

    def barycentric(self, points: FloatArray, triangle: IntArray) -> FloatArray:
        """Return the barycentric coordinates, shape (n, 3), of points, shape (n, 3), in their triangles."""
        off = points - self.corners[triangle, 0]
        second, third = (np.einsum("ni,ni->n", gradient[triangle], off) for gradient in self._gradients)
        return np.column_stack([1.0 - second - third, second, third])

    def patches(self, points: FloatArray, count: int) -> IntArray:
        """Return the number of the patch that each point is in: cubes with about ``count`` on the surface."""
        side = np.sqrt(self.areas.sum() / count)
        cubes = np.floor((points - self.centroid) / side).astype(np.int64)
        return np.asarray(np.unique(cubes, axis=0, return_inverse=True)[1]).ravel()

    def sampled(self, count: int, *, seed: int = 0) -> tuple[FloatArray, IntArray]:
        """Return points spread evenly over the area, shape (count, 3), mm, and their triangles."""
        rng = np.random.default_rng(seed)
        # One point in each of `count` equal shares of the area.
        shares = (np.arange(count) + rng.random(count)) / count
        cumulative = np.cumsum(self.areas)
        triangle = np.minimum(np.searchsorted(cumulative, shares * cumulative[-1]), len(self.areas) - 1)
        u, v = np.sort(rng.random((2, count)), axis=0)
        weights = np.column_stack([u, v - u, 1.0 - v])
        return np.einsum("nk,nkj->nj", weights, self.corners[triangle]), triangle
