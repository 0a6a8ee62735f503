# SPDX-License-Identifier: MIT
"""The flat mesh of a cap: the triangles of an end of the wall and the disc within them."""

import math
from dataclasses import dataclass

import numpy as np

from annelid.geometry.body import FloatArray, IntArray
from annelid.geometry.lattice_mesh.flat_triangles import BoolArray, FlatMesh
from annelid.geometry.meshing.fill import counter_clockwise, fill_plane, graded_divisions

_ON_PLANE = 1e-7  # rad, or of the radius


@dataclass(frozen=True)
class CapMesh:
    """Triangles of a disc, or of a sector of it.

    Attributes:
        mesh: The triangles; corners of the end of the wall come first.
        straight: Corners and midpoints of straight edges of the end of the wall, shape (k, 2), mm.
        curved: The same points with midpoints on the true shape, shape (k, 2), mm.
        nodes: Nodes of the wall at these points, shape (k,).
        sector_angle: Angle of the sector, which begins at 0, rad; 2 pi for the whole disc.
    """

    mesh: FlatMesh
    straight: FloatArray
    curved: FloatArray
    nodes: IntArray
    sector_angle: float

    def on_plane(self, points: FloatArray, side: str) -> BoolArray:
        """Return whether points, shape (m, j, 2), all lie on a plane of the sector, shape (m,)."""
        if self.sector_angle > 2 * math.pi - _ON_PLANE:
            return np.zeros(len(points), dtype=bool)
        angle = 0.0 if side == "low" else self.sector_angle
        distance = points @ np.array([-math.sin(angle), math.cos(angle)])
        return np.asarray(np.all(np.abs(distance) < _ON_PLANE * np.abs(points).max(), axis=1))


def mesh_cap(
    positions: FloatArray, facets: IntArray, radius: float, along: float, multiplicity: float
) -> CapMesh:
    """Mesh a cap on the end of a wall.

    Args:
        positions: X and Y of all nodes of the wall, shape (n, 2), mm.
        facets: Quadratic triangles of the end of the wall, shape (m, 6).
        radius: Outer radius of the wall and the cap, mm.
        along: Largest element size, mm.
        multiplicity: Number of such pieces that make the whole part.
    """
    nodes, corners = np.unique(facets[:, :3], return_inverse=True)
    corners = corners.reshape(-1, 3)
    sector_angle = 2 * math.pi / multiplicity
    path = _inner_edge(positions[nodes], corners, radius, sector_angle)
    outline = positions[nodes[path]]
    if multiplicity > 1:
        outline = np.concatenate([outline, _to_the_axis(outline, along)])
    filled, inner = fill_plane([outline], along)
    number = np.concatenate([path, len(nodes) + np.arange(len(filled) - len(path))])
    points = np.concatenate([positions[nodes], filled[len(path) :]])
    triangles = np.concatenate([corners, number[inner]])
    own = np.arange(len(points))
    mesh = FlatMesh(
        points,
        counter_clockwise(points, triangles),
        np.zeros(len(triangles), dtype=bool),
        (0.0, 0.0),
        own,
        np.zeros_like(own),
        own,
    )
    ends = facets[:, [0, 1, 1, 2, 2, 0]].reshape(-1, 2)
    straight = np.concatenate([positions[nodes], positions[ends].mean(axis=1)])
    every = np.concatenate([nodes, facets[:, 3:].ravel()])
    return CapMesh(mesh, straight, positions[every], every, sector_angle)


def _inner_edge(points: FloatArray, triangles: IntArray, radius: float, sector_angle: float) -> IntArray:
    """Corners along the inner edge of the end of the wall in order; in a sector from plane to plane."""
    from scipy.sparse import coo_array
    from scipy.sparse.csgraph import depth_first_order

    edges = np.sort(triangles[:, [0, 1, 1, 2, 2, 0]].reshape(-1, 2), axis=1)
    edges, count = np.unique(edges, axis=0, return_counts=True)
    edges = edges[count == 1]
    distance = np.linalg.norm(points, axis=1)
    full = sector_angle > 2 * math.pi - _ON_PLANE
    angle = np.arctan2(points[:, 1], points[:, 0])
    outside = np.all(np.abs(distance[edges] - radius) < _ON_PLANE * radius, axis=1)
    on_side = np.zeros(len(edges), dtype=bool)
    if not full:
        for plane in (0.0, sector_angle):
            on_side |= np.all(np.abs(angle[edges] - plane) < _ON_PLANE, axis=1)
    edges = edges[~(outside | on_side)]
    graph = coo_array((np.ones(len(edges)), edges.T), shape=(len(points),) * 2)
    start = int(edges[0, 0])
    if not full:
        ends = np.unique(edges)
        ends = ends[np.abs(angle[ends]) < _ON_PLANE]
        start = int(ends[np.argmin(distance[ends])])
    return np.asarray(depth_first_order(graph, start, directed=False, return_predecessors=False))


def _to_the_axis(edge: FloatArray, along: float) -> FloatArray:
    """Corners from the end of the inner edge to the axis and back to its start, without these two."""
    sides = []
    for end, neighbour in ((edge[-1], edge[-2]), (edge[0], edge[1])):
        length = float(np.linalg.norm(end))
        steps = float(np.linalg.norm(end - neighbour)), min(along, length)
        sides.append(end * (1 - graded_divisions(length, steps, along)[1:, None] / length))
    return np.concatenate([sides[0], sides[1][-2::-1]])
