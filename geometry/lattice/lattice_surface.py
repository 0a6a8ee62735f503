# SPDX-License-Identifier: MIT
"""The closed surface of a lattice as triangles, for pictures and files, not for calculations."""

import math
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from annelid.geometry.body import FloatArray, IntArray
from annelid.geometry.lattice.footprint import Footprint, footprint
from annelid.geometry.lattice.outlines import GRID
from annelid.geometry.lattice.wrapping import Lattice

_LARGEST = 0.09  # rad; flat triangles then deviate by less than 0.1 % of the radius


class Triangles(NamedTuple):
    """A triangulated surface whose normals point outwards.

    Attributes:
        points: Corners, shape (n, 3), mm.
        triangles: Corners of each triangle, shape (t, 3).
    """

    points: FloatArray
    triangles: IntArray


def lattice_surface(lattice: Lattice) -> Triangles:
    """Return the closed surface of all struts, plates and rings: bottom, top and side faces."""
    covered = footprint(lattice)
    flat, inner = _triangulated(covered)
    shifts = covered.period * np.arange(round(covered.columns))
    every = np.concatenate([flat + np.array([shift, 0.0]) for shift in shifts])
    top = np.concatenate([inner + len(flat) * k for k in range(len(shifts))])
    edges = _free_edges(flat, inner, covered.period)
    boundary = np.concatenate([edges + len(flat) * k for k in range(len(shifts))])
    low, high = (lattice.chart.place(every, height).position for height in lattice.heights)
    a, b = boundary.T
    count = len(every)
    sides = np.concatenate([np.column_stack([a, b, b + count]), np.column_stack([a, b + count, a + count])])
    return Triangles(np.concatenate([low, high]), np.concatenate([top[:, ::-1], top + count, sides]))


def _triangulated(covered: Footprint) -> tuple[FloatArray, IntArray]:
    """Cut the polygons along a grid and triangulate them; return corners and counter-clockwise triangles."""
    import shapely

    shapes = [shapely.Polygon(polygon.outer, polygon.holes) for polygon in covered.polygons]
    pieces: list[Any] = []
    for box in _grid(covered):
        for part in shapely.get_parts(shapely.intersection(shapes, box, grid_size=GRID * covered.period)):
            pieces += [p for p in shapely.get_parts(part) if p.geom_type == "Polygon" and p.area > 0.0]
    cut = shapely.get_parts(shapely.constrained_delaunay_triangles(np.array(pieces)))
    corners = np.array([np.asarray(triangle.exterior.coords)[:3] for triangle in cut])
    u, v = corners[..., 0], corners[..., 1]
    area = (u[:, 1] - u[:, 0]) * (v[:, 2] - v[:, 0]) - (u[:, 2] - u[:, 0]) * (v[:, 1] - v[:, 0])
    corners[area < 0] = corners[area < 0][:, ::-1]
    keys = np.round(corners.reshape(-1, 2) / (1e-10 * covered.period)).astype(np.int64)
    _, first, number = np.unique(keys, axis=0, return_index=True, return_inverse=True)
    triangles = number.reshape(-1, 3)
    whole = (np.diff(np.sort(triangles, axis=1), axis=1) > 0).all(axis=1)
    return corners.reshape(-1, 2)[first], triangles[whole].astype(np.int64)


def _grid(covered: Footprint) -> "list[Any]":
    import shapely

    columns = math.ceil(covered.period / _LARGEST)
    rows = math.ceil((covered.high - covered.low) / _LARGEST)
    u = np.linspace(0.0, covered.period, columns + 1)
    v = np.linspace(covered.low, covered.high, rows + 1)
    low, left = np.meshgrid(np.arange(rows), np.arange(columns), indexing="ij")
    boxes = shapely.box(u[left], v[low], u[left + 1], v[low + 1]).ravel()
    return list(boxes)


def _free_edges(points: FloatArray, triangles: IntArray, period: float) -> IntArray:
    """Edges of only one triangle, which is on their left, except where the next column continues."""
    edges = np.concatenate([triangles[:, [0, 1]], triangles[:, [1, 2]], triangles[:, [2, 0]]])
    ends = np.sort(edges, axis=1)
    _, number, count = np.unique(ends, axis=0, return_inverse=True, return_counts=True)
    free = edges[count[number.ravel()] == 1]
    return free[~_is_continued(points[free], period)]


def _is_continued(edges: FloatArray, period: float) -> NDArray[np.bool_]:
    """Whether edges, shape (k, 2, 2), lie on a side of the column and belong to the adjacent column too."""
    tolerance = 1e-9 * period
    low, high = (np.flatnonzero((np.abs(edges[..., 0] - u) < tolerance).all(axis=1)) for u in (0.0, period))
    continued, v = np.zeros(len(edges), dtype=bool), edges[..., 1]
    # Edges run downwards on the low side and upwards on the high side.
    gap = np.abs(v[low][:, None] - v[high][None, :, ::-1]).max(axis=2)
    near, far = np.nonzero(gap < tolerance)
    continued[low[near]] = continued[high[far]] = True
    return continued
