# SPDX-License-Identifier: MIT
"""The plan of a cap: the triangles of a wall's end as they are, the disc within them filled."""

import math
from dataclasses import dataclass

import numpy as np

from annelid.geometry.body import FloatArray, IntArray
from annelid.geometry.lattice_mesh.flat_triangles import BoolArray, FlatMesh
from annelid.geometry.meshing.fill import fill_plane, graded_divisions

_ON_PLANE = 1e-7  # rad, or of the radius


@dataclass(frozen=True)
class CapPlan:
    """Triangles of a disc, or of a sector of it.

    Attributes:
        mesh: The triangles; corners of the wall's end first.
        chords: Corners and middles of edges of the wall's end in ``mesh``, shape (k, 2), mm.
        places: Where these lie, middles on the true shape, shape (k, 2), mm.
        nodes: Their nodes in the wall, shape (k,).
        opening: Angle of the sector from 0 on, rad; 2 pi for the whole.
    """

    mesh: FlatMesh
    chords: FloatArray
    places: FloatArray
    nodes: IntArray
    opening: float

    def on_plane(self, places: FloatArray, side: str) -> BoolArray:
        """Return whether all of some places, shape (m, j, 2), lie on a plane of the sector, shape (m,)."""
        if self.opening > 2 * math.pi - _ON_PLANE:
            return np.zeros(len(places), dtype=bool)
        angle = 0.0 if side == "low" else self.opening
        off = places @ np.array([-math.sin(angle), math.cos(angle)])
        return np.asarray(np.all(np.abs(off) < _ON_PLANE * np.abs(places).max(), axis=1))


def cap_plan(
    places: FloatArray, facets: IntArray, radius: float, along: float, multiplicity: float
) -> CapPlan:
    """Plan a cap on the end of a wall.

    Args:
        places: Of all nodes of the wall, seen along the axis, shape (n, 2), mm.
        facets: Quadratic triangles of the wall's end, shape (m, 6).
        radius: Of the wall and the cap, mm.
        along: Largest element size, mm.
        multiplicity: How many such pieces make the whole.
    """
    nodes, corners = np.unique(facets[:, :3], return_inverse=True)
    corners = corners.reshape(-1, 3)
    opening = 2 * math.pi / multiplicity
    path = _inner_edge(places[nodes], corners, radius, opening)
    outline = places[nodes[path]]
    if multiplicity > 1:
        outline = np.concatenate([outline, _to_the_axis(outline, along)])
    filled, inner = fill_plane([outline], along)
    number = np.concatenate([path, len(nodes) + np.arange(len(filled) - len(path))])
    points = np.concatenate([places[nodes], filled[len(path) :]])
    triangles = np.concatenate([corners, number[inner]])
    own = np.arange(len(points))
    mesh = FlatMesh(
        points,
        _counter_clockwise(points, triangles),
        np.zeros(len(triangles), dtype=bool),
        (0.0, 0.0),
        own,
        np.zeros_like(own),
        own,
    )
    ends = facets[:, [0, 1, 1, 2, 2, 0]].reshape(-1, 2)
    chords = np.concatenate([places[nodes], places[ends].mean(axis=1)])
    every = np.concatenate([nodes, facets[:, 3:].ravel()])
    return CapPlan(mesh, chords, places[every], every, opening)


def _inner_edge(points: FloatArray, triangles: IntArray, radius: float, opening: float) -> IntArray:
    """Corners along the inner edge of the wall's end, in order, of a sector from plane to plane."""
    from scipy.sparse import coo_array
    from scipy.sparse.csgraph import depth_first_order

    edges = np.sort(triangles[:, [0, 1, 1, 2, 2, 0]].reshape(-1, 2), axis=1)
    edges, count = np.unique(edges, axis=0, return_counts=True)
    edges = edges[count == 1]
    distance = np.linalg.norm(points, axis=1)
    whole = opening > 2 * math.pi - _ON_PLANE
    angle = np.arctan2(points[:, 1], points[:, 0])
    outside = np.all(np.abs(distance[edges] - radius) < _ON_PLANE * radius, axis=1)
    on_side = np.zeros(len(edges), dtype=bool)
    if not whole:
        for turn in (0.0, opening):
            on_side |= np.all(np.abs(angle[edges] - turn) < _ON_PLANE, axis=1)
    edges = edges[~(outside | on_side)]
    graph = coo_array((np.ones(len(edges)), edges.T), shape=(len(points),) * 2)
    start = int(edges[0, 0])
    if not whole:
        ends = np.unique(edges)
        ends = ends[np.abs(angle[ends]) < _ON_PLANE]
        start = int(ends[np.argmin(distance[ends])])
    return np.asarray(depth_first_order(graph, start, directed=False, return_predecessors=False))


def _to_the_axis(edge: FloatArray, along: float) -> FloatArray:
    """Corners from the last end of the inner edge to the axis and back to the first, these left out."""
    ways = []
    for end, beside in ((edge[-1], edge[-2]), (edge[0], edge[1])):
        length = float(np.linalg.norm(end))
        steps = float(np.linalg.norm(end - beside)), min(along, length)
        ways.append(end * (1 - graded_divisions(length, steps, along)[1:, None] / length))
    return np.concatenate([ways[0], ways[1][-2::-1]])


def _counter_clockwise(points: FloatArray, triangles: IntArray) -> IntArray:
    a, b, c = (points[triangles[:, i]] for i in range(3))
    left = (b - a)[:, 0] * (c - a)[:, 1] - (b - a)[:, 1] * (c - a)[:, 0] > 0
    return np.where(left[:, None], triangles, triangles[:, [0, 2, 1]])
