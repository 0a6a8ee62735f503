# SPDX-License-Identifier: MIT
"""Thickness of a deformed wall and of its layers."""

import numpy as np

from annelid.geometry.body import Body, FloatArray, IntArray
from annelid.geometry.inventory import inner_surface
from annelid.solver.readout.facet_pieces import straight_pieces

_ALL_PAIRS = 50_000  # pairs of node and facet up to which all distances are taken
_NEAREST, _LOOKED_AT = 6, 8  # facets, and triangles of them, looked at for each node


def wall_thickness(body: Body, displacement: FloatArray) -> float:
    """Shortest distance now from a node of the inner surface to the outer surface, mm."""
    inner_name = inner_surface(body)
    if inner_name == "outer":
        return float("nan")
    inner, outer = body.surface_nodes(inner_name), body.facets[body.surfaces["outer"]]
    return shortest_distance(body.points + displacement, inner, outer)


def shortest_distance(x: FloatArray, nodes: IntArray, facets: IntArray) -> float:
    """Shortest distance from nodes to facets, mm.

    Args:
        x: Positions of all nodes, shape (n, 2) or (n, 3), mm.
        nodes: Node numbers.
        facets: Node numbers of the facets, shape (f, nodes per facet).
    """
    inner, outer = x[nodes], x[facets]
    near = _nearest(inner, outer.mean(axis=1), min(_NEAREST, len(outer)))
    pieces = straight_pieces(outer)  # straight ones, (facets, pieces, corners, dim)
    pieces = pieces[near].reshape(len(inner), -1, *pieces.shape[2:])
    distance = _to_segments
    if pieces.shape[2] == 3:
        distance = _to_triangles
        squares = ((pieces.mean(axis=2) - inner[:, None, :]) ** 2).sum(axis=-1)
        nearest = np.argpartition(squares, _LOOKED_AT - 1, axis=1)[:, :_LOOKED_AT]
        pieces = np.take_along_axis(pieces, nearest[:, :, None, None], axis=1)
    return float(distance(inner[:, None, :], pieces).min())


def _nearest(points: FloatArray, centres: FloatArray, k: int) -> IntArray:
    """The k centres nearest to each point, shape (points, k), in no order."""
    if len(points) * len(centres) > _ALL_PAIRS:
        from scipy.spatial import cKDTree  # start-up and memory that small cases need not pay

        _, near = cKDTree(centres).query(points, k=k)
        return near.reshape(len(points), k)
    squares = (centres**2).sum(axis=1) - 2 * points @ centres.T  # less those of the points, one for each row
    return np.argpartition(squares, k - 1, axis=1)[:, :k]


def _to_segments(p: FloatArray, pieces: FloatArray) -> FloatArray:
    a, d = pieces[..., 0, :], pieces[..., 1, :] - pieces[..., 0, :]
    t = np.clip(_dot(p - a, d) / _dot(d, d), 0, 1)
    off = p - a - t[..., None] * d
    return np.sqrt(_dot(off, off))


def _dot(a: FloatArray, b: FloatArray) -> FloatArray:
    return np.asarray(np.einsum("...i,...i->...", a, b))  # much faster than a sum over a short axis


def _to_triangles(p: FloatArray, pieces: FloatArray) -> FloatArray:
    """Distance to the plane where the foot lies inside, else to the nearest edge."""
    a, b, c = (pieces[..., i, :] for i in range(3))
    n = np.cross(b - a, c - a)
    area = np.linalg.norm(n, axis=-1)
    n = n / np.maximum(area, 1e-30)[..., None]
    height = ((p - a) * n).sum(-1)
    foot = p - height[..., None] * n
    inside = np.ones(height.shape, dtype=bool)
    edges = np.full(height.shape, np.inf)
    for q, r in ((a, b), (b, c), (c, a)):
        inside &= (np.cross(r - q, foot - q) * n).sum(-1) >= -1e-12 * area
        edges = np.minimum(edges, _to_segments(p, np.stack([q, r], axis=-2)))
    return np.where(inside, np.abs(height), edges)
