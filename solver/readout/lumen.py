# SPDX-License-Identifier: MIT
"""How far the lumen of a part is open, and over which length it is closed."""

from typing import NamedTuple

import numpy as np

from annelid.geometry.body import Body, FloatArray, IntArray
from annelid.geometry.elements import shape_values
from annelid.geometry.self_crossing import planes_of_symmetry
from annelid.solver.model.quantities import CLOSED
from annelid.solver.readout.facet_pieces import facet_kind, pieces_of
from annelid.solver.readout.surface_weights import radii

_SECTIONS = 128  # planes across a 3-D part at most
_SAME_POINT = 1e-8  # of the size of a part: points of neighbouring facets this close are the same
_ROUNDING = 1e-9  # of the largest value
_DECIMALS = 9  # of a height, mm: stations that two facets share are one
_OFF_RIM = 1e-9  # of the height of a part: the planes stay this far away from its rims


class Opening(NamedTuple):
    """How far a lumen is open.

    Attributes:
        diameter: Smallest diameter, mm.
        narrowest: Reference position of the node where it is, mm.
        area: Smallest area of a cross-section, mm².
        height: Mean reference height of this section, mm.
        closed_length: Length along the axis over which it is closed, mm.
    """

    diameter: float
    narrowest: FloatArray
    area: float
    height: float
    closed_length: float


class Lumen:
    """The inner surface of a part that is open at both ends."""

    def __init__(self, body: Body) -> None:
        self._body = body
        self._facets = body.facets[body.facet_numbers("lumen")]
        self._nodes = np.unique(self._facets)
        self._sections = _Sections(body, self._facets) if body.points.shape[1] == 3 else None
        if self._sections is not None:
            self._drawn = self._sections.cut(body.points)

    def opening(self, displacement: FloatArray) -> Opening:
        """How far it is open now.

        Args:
            displacement: At the nodes, shape of ``body.points``, mm.
        """
        x = self._body.points + displacement
        r = radii(x[self._nodes])
        narrowest = self._body.points[self._nodes[_first_least(r)]]
        diameter = 2 * float(r.min())
        if self._sections is None:
            closed = self._closed_rings(x)
            return Opening(diameter, narrowest, np.pi / 4 * diameter**2, float(narrowest[-1]), closed)
        now = self._sections.cut(x)
        drawn = np.interp(now[:, 1], self._drawn[:, 1], self._drawn[:, 2])
        ratio = np.sqrt(now[:, 2] / drawn)
        _, height, area = now[_first_least(now[:, 2])]
        closed = _length_below(now[:, 0], ratio)
        return Opening(diameter, narrowest, float(area), float(height), closed)

    def sections(self, displacement: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Height, mm, and area, mm², of sections from end to end by reference height, shapes (k,)."""
        x = self._body.points + displacement
        if self._sections is not None:
            height, _, area = self._sections.cut(x).T
            return height, area
        at, _ = pieces_of("line3")
        now, drawn = (shape_values("line3", at) @ points[self._facets] for points in (x, self._body.points))
        _, first = np.unique(drawn[..., 1].round(_DECIMALS), return_index=True)
        r, z = now.reshape(-1, 2)[first].T
        return z, np.pi * r**2

    def _closed_rings(self, x: FloatArray) -> float:
        """Length along the axis over which an axisymmetric lumen is closed."""
        at, pieces = pieces_of("line3")
        now, drawn = (shape_values("line3", at) @ points[self._facets] for points in (x, self._body.points))
        ratio = now[..., 0] / drawn[..., 0]
        return _length_below(now[:, pieces, 1], ratio[:, pieces])


def _first_least(values: FloatArray) -> int:
    """Position of the first value that is the least but for rounding."""
    return int(np.argmax(values <= values.min() + _ROUNDING * np.abs(values).max()))


def _length_below(z: FloatArray, ratio: FloatArray) -> float:
    """Length along z over which a ratio, linear between stations of the last axis, is below ``CLOSED``."""
    low = np.minimum(ratio[..., :-1], ratio[..., 1:])
    high = np.maximum(ratio[..., :-1], ratio[..., 1:])
    with np.errstate(divide="ignore", invalid="ignore"):
        part = np.where(high > low, np.clip((CLOSED - low) / (high - low), 0, 1), high < CLOSED)
    return float((np.abs(np.diff(z)) * part).sum())


class _Sections:
    """Sections of the inner surface of a 3-D body with planes across its axis.

    Facets are cut into flat triangles whose right-hand normals point away from the lumen.
    """

    def __init__(self, body: Body, facets: IntArray) -> None:
        kind = facet_kind(facets)
        at, pieces = pieces_of(kind)
        self._values, self._facets = shape_values(kind, at), facets
        self._multiplicity = body.multiplicity
        points = self._points_of(body.points)
        normal = body.normal[facets].mean(axis=1)
        a, b, c = (points[:, pieces[:, i]] for i in range(3))
        inwards = np.einsum("fpd,fd->f", np.cross(b - a, c - a), normal) < 0
        grid = np.round(points.reshape(-1, 3) / (_SAME_POINT * np.ptp(body.points, axis=0).max()))
        _, self._first, number = np.unique(grid, axis=0, return_index=True, return_inverse=True)
        triangles = number.reshape(points.shape[:2])[:, pieces]
        triangles[inwards] = triangles[inwards][..., ::-1]
        self._triangles: IntArray = triangles.reshape(-1, 3)
        self._drawn = points.reshape(-1, 3)[self._first]
        self._rims = self._find_rims(planes_of_symmetry(body))

    def _points_of(self, x: FloatArray) -> FloatArray:
        return np.asarray(np.einsum("qn,fnd->fqd", self._values, x[self._facets]))

    def _find_rims(self, planes: list[FloatArray]) -> tuple[IntArray, IntArray]:
        """Edges of the low and of the high rim, each of shape (n, 2)."""
        edges = self._triangles[:, [[0, 1], [1, 2], [2, 0]]].reshape(-1, 2)
        _, first, count = np.unique(np.sort(edges, axis=1), axis=0, return_index=True, return_counts=True)
        rims = edges[first[count == 1]]
        tolerance = _SAME_POINT * np.abs(self._drawn).max()
        for plane in planes:
            rims = rims[(np.abs(self._drawn[rims] @ plane) > tolerance).any(axis=1)]
        z = self._drawn[rims[:, 0], 2]
        high = z > (z.min() + z.max()) / 2
        return rims[~high], rims[high]

    def cut(self, x: FloatArray) -> FloatArray:
        """Height, mean reference height and area of the sections, by reference height, shape (k, 3).

        Args:
            x: Positions of the nodes of the body, mm.
        """
        points = self._points_of(x).reshape(-1, 3)[self._first]
        low, high = (points[rim, 2] for rim in self._rims)
        sense = 1.0 if low.mean() < high.mean() else -1.0  # an inverted dome has its low rim above
        bounds = (low.max(), high.min()) if sense > 0 else (high.max(), low.min())
        found = [self._rim(points, rim) for rim in self._rims]
        z = points[self._triangles, 2]
        lowest, highest = z.min(axis=1), z.max(axis=1)
        for height in _heights(points, *bounds):
            corners = self._triangles[(lowest <= height) & (highest > height)]
            section = self._section(points, corners, height, sense)
            if section is not None:
                found.append(section)
        table = np.array(found)
        return table[np.argsort(table[:, 1])]

    def _rim(self, points: FloatArray, rim: IntArray) -> tuple[float, float, float]:
        area = abs(_cross(points[rim[:, 0]], points[rim[:, 1]]).sum()) / 2
        height, drawn = (float(p[rim, 2].mean()) for p in (points, self._drawn))
        return height, drawn, self._multiplicity * float(area)

    def _section(
        self, points: FloatArray, corners: IntArray, height: float, sense: float
    ) -> tuple[float, float, float] | None:
        """The section of triangles at a height; ``None`` if no curve encloses the lumen there."""
        start, end, keys, drawn = self._segments(points, corners, height)
        label = _loops(keys)
        area = sense * np.bincount(label, _cross(start, end)) / 2
        boxes = _boxes(label, np.concatenate([start, end], axis=1), with_axis=self._multiplicity > 1)
        outer = np.flatnonzero(area > 0)
        within = [_inside(boxes[area < 0], boxes[loop]).any() for loop in outer]  # a wall hangs over there
        outer = outer[~np.array(within, dtype=bool)]
        if not outer.size:
            return None
        loop = outer[np.argmax(area[outer])]
        return height, float(drawn[label == loop].mean()), self._multiplicity * float(area[loop])

    def _segments(
        self, points: FloatArray, corners: IntArray, height: float
    ) -> tuple[FloatArray, FloatArray, IntArray, FloatArray]:
        """Start and end of the lines of a section, counter-clockwise around the lumen, shapes (n, 2).

        Also numbers of the edges on which they are, shape (n, 2), and their reference heights, shape (n,).
        """
        above = points[corners, 2] > height
        alone = np.argmax(above == (above.sum(axis=1) == 1)[:, None], axis=1)  # corner on its side
        turn = (alone[:, None] + np.arange(3)) % 3
        tip, left, right = np.take_along_axis(corners, turn, axis=1).T
        ends, keys, drawn = [], [], []
        for other in (left, right):
            t = (height - points[tip, 2]) / (points[other, 2] - points[tip, 2])
            ends.append(points[tip, :2] + t[:, None] * (points[other, :2] - points[tip, :2]))
            drawn.append(self._drawn[tip, 2] + t * (self._drawn[other, 2] - self._drawn[tip, 2]))
            keys.append(np.minimum(tip, other) * len(points) + np.maximum(tip, other))
        upward = (points[tip, 2] > height)[:, None]  # the tip is above: outward normal, so left to right
        start, end = np.where(upward, ends[0], ends[1]), np.where(upward, ends[1], ends[0])
        return start, end, np.stack(keys, axis=1), (drawn[0] + drawn[1]) / 2


def _heights(points: FloatArray, low: float, high: float) -> FloatArray:
    """Heights of planes between the rims: those of points, thinned out."""
    margin = _OFF_RIM * float(np.ptp(points[:, 2]))
    z = np.unique(points[(points[:, 2] > low + margin) & (points[:, 2] < high - margin), 2])
    kept = np.linspace(0, max(len(z) - 1, 0), min(len(z), _SECTIONS))
    return z[kept.round().astype(int)]


def _cross(a: FloatArray, b: FloatArray) -> FloatArray:
    return np.asarray(a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0])


def _loops(keys: IntArray) -> IntArray:
    """Number of the connected curve of each line, by the points that lines share, shape (n,)."""
    from scipy.sparse import coo_array  # start-up and memory that axisymmetric cases need not pay
    from scipy.sparse.csgraph import connected_components

    points, number = np.unique(keys, return_inverse=True)
    i, j = number.reshape(keys.shape).T
    graph = coo_array((np.ones(len(i)), (i, j)), shape=(len(points), len(points)))
    return np.asarray(connected_components(graph, directed=False)[1][i], dtype=np.int64)


def _boxes(label: IntArray, lines: FloatArray, *, with_axis: bool) -> FloatArray:
    """Boxes (x low, y low, x high, y high) around curves; those of a sector include the axis."""
    boxes = np.zeros((label.max() + 1, 4))
    if not with_axis:
        boxes[:] = (np.inf, np.inf, -np.inf, -np.inf)
    for ends in (lines[:, :2], lines[:, 2:]):
        np.minimum.at(boxes[:, :2], label, ends)
        np.maximum.at(boxes[:, 2:], label, ends)
    return boxes


def _inside(boxes: FloatArray, box: FloatArray) -> FloatArray:
    return np.asarray((boxes[:, :2] >= box[:2]).all(axis=1) & (boxes[:, 2:] <= box[2:]).all(axis=1))
