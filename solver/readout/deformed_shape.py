# SPDX-License-Identifier: MIT
"""Measures of a deformed shape: radii, length, wall thickness."""

import numpy as np

from annelid.geometry.body import Body, FloatArray, IntArray
from annelid.geometry.elements import shape_values
from annelid.geometry.inventory import inner_surface
from annelid.solver.records import Profile

_SAME_HEIGHT = 6  # decimals of a mm
_MANY_STATIONS = 400
_ALL_PAIRS = 500_000  # pairs of node and facet up to which all distances are taken
_NEAREST, _LOOKED_AT = 6, 8  # facets, and triangles of them, looked at for each node
_CUTS = 4  # straight pieces along each edge of a curved facet: a chord error 16 times smaller than without
_ALONG = (0.0, 0.5 - 0.15**0.5, 0.5, 0.5 + 0.15**0.5, 1.0)  # nodes of an edge and Gauss's three points
_NEAR_AXIS = 0.02  # share of the largest radius below which r/R says nothing


def profiles(body: Body, displacement: FloatArray) -> dict[str, Profile]:
    """Mean radius along the axis of the inner and outer surface.

    Args:
        body: The drawn body.
        displacement: Shape of ``body.points``, mm.
    """
    surfaces = {"inner": inner_surface(body), "outer": "outer"}
    return {
        key: _profile(body, displacement, name) for key, name in surfaces.items() if name in body.surfaces
    }


def _profile(body: Body, displacement: FloatArray, surface: str) -> Profile:
    nodes = body.surface_nodes(surface)
    reference, current = body.points[nodes], body.points[nodes] + displacement[nodes]
    R, r = (_radius(x) for x in (reference, current))
    keep = _NEAR_AXIS * R.max() < R
    height = np.round(reference[keep, -1], _SAME_HEIGHT)
    stations, which = np.unique(height, return_inverse=True)
    if len(stations) > _MANY_STATIONS:
        edges = np.linspace(stations[0], stations[-1], _MANY_STATIONS // 4 + 1)
        _, which = np.unique(np.clip(np.searchsorted(edges, height), 1, len(edges) - 1), return_inverse=True)

    def mean(values: FloatArray) -> FloatArray:
        return np.bincount(which, values) / np.bincount(which)

    return Profile(mean(reference[keep, -1]), mean(R[keep]), mean(r[keep]), mean(current[keep, -1]))


def _radius(x: FloatArray) -> FloatArray:
    return x[:, 0] if x.shape[1] == 2 else np.hypot(x[:, 0], x[:, 1])


def expansion(profile: Profile) -> FloatArray:
    """r/R - 1 along a profile."""
    return profile.radius / profile.reference_radius - 1


def mean_over_height(profile: Profile, values: FloatArray) -> float:
    """Mean of station values over the height, by the trapezium rule."""
    span = profile.height[-1] - profile.height[0]
    return float(np.trapezoid(values, profile.height) / span) if span > 0 else float(values.mean())


def length(body: Body, displacement: FloatArray) -> float:
    """Distance now between the mean heights of the ends, or the extent where there are none, mm."""
    ends = [
        (body.points + displacement)[body.surface_nodes(end), -1].mean()
        for end in ("end_low", "end_high")
        if end in body.surfaces
    ]
    return float(ends[1] - ends[0] if len(ends) == 2 else np.ptp((body.points + displacement)[:, -1]))


def shortening(body: Body, displacement: FloatArray) -> float:
    """1 - l/L from the mean heights of the ends, or from the extent where there are none."""
    heights = []
    for end in ("end_low", "end_high"):
        if end in body.surfaces:
            nodes = body.surface_nodes(end)
            heights.append((body.points[nodes, -1].mean(), (body.points + displacement)[nodes, -1].mean()))
    if len(heights) == 2:
        return float(1 - (heights[1][1] - heights[0][1]) / (heights[1][0] - heights[0][0]))
    return float(1 - np.ptp((body.points + displacement)[:, -1]) / np.ptp(body.points[:, -1]))


def wall_thickness(body: Body, displacement: FloatArray) -> float:
    """Shortest distance now from a node of the inner surface to the outer surface, mm."""
    inner_name = inner_surface(body)
    if inner_name == "outer":
        return float("nan")
    x = body.points + displacement
    inner = x[body.surface_nodes(inner_name)]
    facets = x[body.facets[body.surfaces["outer"]]]
    near = _nearest(inner, facets.mean(axis=1), min(_NEAREST, len(facets)))
    pieces = _pieces(facets)  # straight ones, (facets, pieces, corners, dim)
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


def surface_points(body: Body, displacement: FloatArray, surface: str) -> FloatArray:
    """Nodes of a named surface, and the points where forces act on it, now, shape (n, 2) or (n, 3), mm."""
    facets = (body.points + displacement)[body.facets[body.surfaces[surface]]]
    kind = {3: "line3", 6: "triangle6", 9: "quad9"}[facets.shape[1]]
    axes = np.meshgrid(*[_ALONG] * (1 if kind == "line3" else 2), indexing="ij")
    at = np.stack([axis.ravel() for axis in axes], axis=1)
    if kind == "triangle6":
        at = at[at.sum(axis=1) <= 1 + 1e-9]
    return np.einsum("qn,fnd->fqd", shape_values(kind, at), facets).reshape(-1, facets.shape[2])


def _pieces(facets: FloatArray) -> FloatArray:
    """Straight pieces of second-order facets, cut finely: segments (f, q, 2, 2) or triangles (f, q, 3, 3)."""
    kind = {3: "line3", 6: "triangle6", 9: "quad9"}[facets.shape[1]]
    at, cuts = _cuts(kind)
    points = np.einsum("qn,fnd->fqd", shape_values(kind, at), facets)
    return points[:, cuts]


def _cuts(kind: str) -> tuple[FloatArray, IntArray]:
    """Points on the reference facet and the pieces between them."""
    if kind == "line3":
        steps = np.arange(_CUTS)
        return np.linspace(0, 1, _CUTS + 1)[:, None], np.stack([steps, steps + 1], axis=1)
    grid = np.arange(_CUTS + 1)
    i, j = (v.ravel() for v in np.meshgrid(grid, grid, indexing="ij"))
    at = np.stack([i, j], axis=1) / _CUTS
    corner = (i < _CUTS) & (j < _CUTS)
    a = np.flatnonzero(corner)
    lower = np.stack([a, a + _CUTS + 1, a + 1], axis=1)
    upper = np.stack([a + _CUTS + 1, a + _CUTS + 2, a + 1], axis=1)
    triangles = np.concatenate([lower, upper])
    if kind == "triangle6":
        inside = (at[triangles].sum(axis=2) <= 1 + 1e-9).all(axis=1)
        triangles = triangles[inside]
    return at, triangles


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
