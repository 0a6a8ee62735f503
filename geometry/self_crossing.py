# SPDX-License-Identifier: MIT
"""Where the walls of a deformed body pass through each other."""

from typing import NamedTuple

import numpy as np
import shapely

from annelid.geometry.body import Body, FloatArray, IntArray
from annelid.geometry.elements import CORNERS, FACETS

# Facets as straight pieces between their nodes, in the order of VTK: second-order facets are curved.
_PIECES = {
    "line3": ((0, 2), (2, 1)),
    "triangle6": ((0, 3, 5), (3, 1, 4), (5, 4, 2), (3, 4, 5)),
    "quad9": ((0, 4, 8), (0, 8, 7), (4, 1, 5), (4, 5, 8), (8, 5, 2), (8, 2, 6), (7, 8, 6), (7, 6, 3)),
}
_SIDES = ("side_low", "side_high")  # planes that cut out a sector; they are no walls
_TOUCH = 1e-4  # of the size of the body: as far as soft cells may bulge beyond a plane of symmetry
_FLAT = 1e-6  # sine between an edge and the plane of a triangle below which both lie in one plane
_EDGES = ((0, 1), (1, 2), (2, 0))


class Touch(NamedTuple):
    """Where walls of a body pass through each other.

    Attributes:
        place: Position in the deformed shape, shape (2,) or (3,), mm.
        in_lumen: Whether these are walls of the lumen.
    """

    place: FloatArray
    in_lumen: bool


class SelfCrossing:
    """Finds where the outer surface of a body crosses itself, the axis, or a plane of symmetry.

    Facets are taken as straight pieces between their nodes. Crossings in the reference shape, where pieces of
    curved facets may cut each other, are left out, and so are those of pieces that share a node.

    Args:
        body: The body.
        depth: How far a node may lie beyond the axis or a plane of symmetry, mm: such a plane may be an
            obstacle that gives way.
    """

    def __init__(self, body: Body, *, depth: float = 0.0) -> None:
        facet_type, local = FACETS[body.cell_type]
        sides = [body.facets[body.surfaces[name]] for name in _SIDES if name in body.surfaces]
        facets = np.concatenate([body.cells[:, local].reshape(-1, local.shape[1]), *sides])
        corners = np.sort(facets[:, : CORNERS[facet_type]], axis=1)
        _, first, count = np.unique(corners, axis=0, return_index=True, return_counts=True)
        outer = facets[np.sort(first[count == 1])]
        self._points = body.points
        self._pieces = outer[:, np.array(_PIECES[facet_type])].reshape(-1, body.points.shape[1])
        self._inward = planes_of_symmetry(body)
        self._depth = max(depth, _TOUCH * float(np.ptp(body.points, axis=0).max()))
        self._inner = body.surface_nodes("lumen") if "lumen" in body.surfaces else np.zeros(0, dtype=np.int64)
        self._closed = _closed_lumen(body)
        self._drawn_volume = self._enclosed(body.points)
        self._drawn = {tuple(pair) for pair in self._crossings(body.points)}

    def touch(self, displacement: FloatArray) -> Touch | None:
        """Where the body crosses itself, in its deformed shape; ``None`` if it does not.

        Args:
            displacement: At the nodes, shape of ``body.points``, mm.
        """
        x = self._points + displacement
        for inward in self._inward:
            depth = x @ inward
            if depth.min() < -self._depth:
                return self._touch(x, np.array([np.argmin(depth)]))
        for pair in self._crossings(x):
            if tuple(pair) not in self._drawn:
                return self._touch(x, self._pieces[pair].ravel())
        if self._closed is not None and self._enclosed(x) * self._drawn_volume < 0:
            return self._touch(x, self._closed.ravel())
        return None

    def _touch(self, x: FloatArray, nodes: IntArray) -> Touch:
        return Touch(x[nodes].mean(axis=0), bool(np.isin(nodes, self._inner).all()))

    def _crossings(self, x: FloatArray) -> IntArray:
        """Pairs of pieces that cross, shape (n, 2)."""
        pieces = x[self._pieces]
        if x.shape[1] == 2:
            lines = shapely.linestrings(pieces)
            i, j = self._apart(shapely.STRtree(lines).query(lines).T)
            cross = shapely.crosses(lines[i], lines[j])  # much faster than within the query
            return np.stack([i[cross], j[cross]], axis=1)
        low, high = pieces.min(axis=1), pieces.max(axis=1)
        boxes = shapely.box(low[:, 0], low[:, 2], high[:, 0], high[:, 2])
        pairs = shapely.STRtree(boxes).query(boxes).T
        i, j = pairs.T
        near = (low[i, 1] <= high[j, 1]) & (low[j, 1] <= high[i, 1])
        i, j = self._apart(pairs[near])
        cross = np.logical_or(_edges_pierce(pieces[i], pieces[j]), _edges_pierce(pieces[j], pieces[i]))
        return np.stack([i[cross], j[cross]], axis=1)

    def _apart(self, pairs: IntArray) -> tuple[IntArray, IntArray]:
        """Each pair once, without those of pieces that share a node."""
        i, j = pairs[pairs[:, 0] < pairs[:, 1]].T
        apart = (self._pieces[i][:, :, None] != self._pieces[j][:, None, :]).all(axis=(1, 2))
        return i[apart], j[apart]

    def _enclosed(self, x: FloatArray) -> float:
        """Signed volume of a closed lumen up to a factor, by the sum over its straight pieces."""
        if self._closed is None:
            return 0.0
        pieces = x[self._closed]
        if x.shape[1] == 3:
            return float(np.linalg.det(pieces).sum())
        (r0, z0), (r1, z1) = pieces[:, 0].T, pieces[:, 1].T
        return float(((z1 - z0) * (r0**2 + r0 * r1 + r1**2)).sum())


def planes_of_symmetry(body: Body) -> list[FloatArray]:
    """Inward normals of the axis of an axisymmetric body, or of the planes that cut out a sector."""
    if body.model == "axisymmetric":
        return [np.array([1.0, 0.0])]
    inward = []
    for name in (name for name in _SIDES if body.model == "sector" and name in body.surfaces):
        on_plane = body.points[body.surface_nodes(name)]
        x, y, _ = on_plane[np.argmax(np.hypot(on_plane[:, 0], on_plane[:, 1]))]
        normal = np.array([-y, x, 0.0]) / np.hypot(x, y)
        inward.append(normal * np.sign((body.points @ normal).sum()))
    return inward


def _closed_lumen(body: Body) -> IntArray | None:
    """Pieces of the lumen's surface if it has no rim, shape (n, 2) or (n, 3), all in one sense."""
    if "lumen" not in body.surfaces or body.model == "sector":
        return None
    facets = body.facets[body.facet_numbers("lumen")]
    kind = FACETS[body.cell_type][0]
    pieces = facets[:, np.array(_PIECES[kind])].reshape(-1, body.points.shape[1])
    rims = pieces[:, [[0, 1], [1, 2], [2, 0]]].reshape(-1, 2) if kind != "line3" else pieces.reshape(-1, 1)
    edges, count = np.unique(np.sort(rims, axis=1), axis=0, return_counts=True)
    rim = edges[count == 1]
    if kind == "line3":
        return pieces if np.abs(body.points[rim.ravel(), 0]).max(initial=0.0) < 1e-9 else None
    return pieces if not len(rim) else None


def _edges_pierce(a: FloatArray, b: FloatArray) -> FloatArray:
    """Whether an edge of triangle a passes through triangle b, shape (n,).

    Möller and Trumbore, J. Graphics Tools 2, 21 (1997), from memory.
    """
    e1, e2 = b[:, 1] - b[:, 0], b[:, 2] - b[:, 0]
    found = np.zeros(len(a), dtype=bool)
    for start, end in _EDGES:
        direction = a[:, end] - a[:, start]
        h = np.cross(direction, e2)
        determinant = np.einsum("ni,ni->n", e1, h)
        size = np.linalg.norm(e1, axis=1) * np.linalg.norm(e2, axis=1) * np.linalg.norm(direction, axis=1)
        flat = np.abs(determinant) < _FLAT * size
        with np.errstate(divide="ignore", invalid="ignore"):
            s = a[:, start] - b[:, 0]
            u = np.einsum("ni,ni->n", s, h) / determinant
            q = np.cross(s, e1)
            v = np.einsum("ni,ni->n", direction, q) / determinant
            t = np.einsum("ni,ni->n", e2, q) / determinant
            found |= ~flat & (u > 0) & (v > 0) & (u + v < 1) & (t > 0) & (t < 1)
    return found
