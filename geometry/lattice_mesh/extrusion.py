# SPDX-License-Identifier: MIT
"""Triangles of a flat pattern thickened into quadratic tetrahedra."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from annelid.geometry.body import FloatArray, IntArray
from annelid.geometry.lattice_mesh.flat_triangles import FlatMesh

EDGES = np.array([(0, 1), (1, 2), (2, 0), (0, 3), (1, 3), (2, 3)])  # of tetra10, in the order of its nodes
_CLOSE = 1e-7  # share of the extent of the flat pattern within which a node lies on a seam


class Course(NamedTuple):
    """One course of material, as masons lay it: a slab between two depths.

    Attributes:
        low: Depth of its lower face, mm along the wall normal.
        high: Depth of its upper face, mm.
        elements: Elements through it.
        on_struts: Region over the struts; ``None`` leaves it empty there.
        between: Region between the struts; ``None`` leaves it empty there.
    """

    low: float
    high: float
    elements: int
    on_struts: str | None
    between: str | None


@dataclass(frozen=True)
class Thickened:
    """Tetrahedra with their places in the flat pattern.

    Attributes:
        flat: Flat position of every node, shape (n, 2).
        depth: Depth of every node, shape (n,), mm.
        cells: Nodes of each ``tetra10``, shape (m, 10).
        regions: Cell numbers of each region.
        triangles: Triangle of the flat pattern that each cell stands on, shape (m,).
        merged: Whether the seam in x was closed.
    """

    flat: FloatArray
    depth: FloatArray
    cells: IntArray
    regions: dict[str, IntArray]
    triangles: IntArray
    merged: bool


Unroll = Callable[[FloatArray, IntArray], FloatArray]
"""Maps points (k, 2) of flat pieces, of the numbers (k,), into the pattern, as a disc over a pole."""


def thicken(
    mesh: FlatMesh, courses: Sequence[Course], *, width: float, merge: bool, unroll: Unroll | None = None
) -> Thickened:
    """Thicken the triangles of a flat pattern, course by course.

    Every prism is cut in three tetrahedra by the order of its corners, so that neighbours cut their common
    face alike, and every copy of a cell is cut alike.

    Args:
        mesh: The flat pattern.
        courses: Courses in order of depth, each beginning where the one before it ends.
        width: Period of the pattern along x.
        merge: Join the seam at ``width`` to that at 0 (their nodes match).
        unroll: Where the points of other flat pieces lie in the pattern, if there are any.
    """
    levels, owner = _levels(courses)
    joined = (_joined(mesh, width) if merge else np.arange(len(mesh.points)))[mesh.twin]
    order = np.argsort(_cutting_order(mesh, joined)[mesh.triangles], axis=1)
    sorted_corners = np.take_along_axis(mesh.triangles, order, axis=1)
    blocks, names, stands = [], [], []
    for layer, course in enumerate(owner):
        for region, members in ((course.on_struts, mesh.strut), (course.between, ~mesh.strut)):
            chosen = np.flatnonzero(members)
            if region is None or not len(chosen):
                continue
            blocks.append(_prisms(sorted_corners[chosen], layer, len(levels)))
            names.append((region, 3 * len(chosen)))
            stands.append(np.repeat(chosen, 3))
    raw = np.concatenate(blocks)
    corner_flat = np.repeat(mesh.points, len(levels), axis=0)
    corner_depth = np.tile(levels, len(mesh.points))
    number = (joined[:, None] * len(levels) + np.arange(len(levels))).ravel()
    raw = _turned(raw, corner_flat, corner_depth)
    corner_disc = np.repeat(mesh.disc, len(levels))
    flat, depth, disc, cells = _with_middles(raw, number, corner_flat, corner_depth, corner_disc)
    flat = unroll(flat, disc) if unroll is not None else flat
    region_of = np.repeat([name for name, _ in names], [count for _, count in names])
    regions = {name: np.flatnonzero(region_of == name) for name in dict.fromkeys(name for name, _ in names)}
    return Thickened(flat, depth, cells, regions, np.concatenate(stands), merge)


def _cutting_order(mesh: FlatMesh, joined: IntArray) -> IntArray:
    """Order of the corners by which prisms are cut: that of the copies, and among copies any."""
    order = np.empty(len(joined), dtype=np.int64)
    order[np.lexsort((joined, mesh.rank[joined]))] = np.arange(len(joined))
    return order[joined]


def _levels(courses: Sequence[Course]) -> tuple[FloatArray, list[Course]]:
    """All levels of depth, and the course each layer of elements belongs to."""
    levels, owner = [courses[0].low], []
    for course in courses:
        levels += list(np.linspace(course.low, course.high, course.elements + 1)[1:])
        owner += [course] * course.elements
    return np.array(levels), owner


def _joined(mesh: FlatMesh, width: float) -> IntArray:
    """Number of each corner with the seam at ``width`` joined to that at 0."""
    here = mesh.disc == 0
    slip = _CLOSE * max(width, float(np.ptp(mesh.points[here, 1])))
    near = np.flatnonzero((np.abs(mesh.points[:, 0]) < slip) & here)
    far = np.flatnonzero((np.abs(mesh.points[:, 0] - width) < slip) & here)
    near, far = (side[np.argsort(mesh.points[side, 1])] for side in (near, far))
    joined = np.arange(len(mesh.points))
    joined[far] = near
    return joined


def _prisms(corners: IntArray, layer: int, levels: int) -> IntArray:
    """Three tetrahedra of each prism; corner v at level k has number v * levels + k."""
    low = corners * levels + layer
    high = low + 1
    a, b, c = low.T
    d, e, f = high.T
    cut = np.stack([[a, b, c, f], [a, b, e, f], [a, d, e, f]], axis=0)  # (3, 4, prisms)
    return np.moveaxis(cut, -1, 0).reshape(-1, 4)


def _turned(raw: IntArray, flat: FloatArray, depth: FloatArray) -> IntArray:
    """The tetrahedra with their corners in right-handed order."""
    x = np.column_stack([flat, depth])[raw]
    a, b, c = (x[:, i] - x[:, 0] for i in (1, 2, 3))
    left = np.einsum("ij,ij->i", np.cross(a, b), c) < 0
    raw[left] = raw[left][:, [0, 2, 1, 3]]
    return raw


def _with_middles(
    raw: IntArray, number: IntArray, flat: FloatArray, depth: FloatArray, disc: IntArray
) -> tuple[FloatArray, FloatArray, IntArray, IntArray]:
    """Add mid-side nodes; both those and the corners are numbered once across a joined seam."""
    corners = number[raw]
    ends = raw[:, EDGES].reshape(-1, 2)
    key = np.sort(number[ends], axis=1)
    code = key[:, 0] * (number.max() + 1) + key[:, 1]
    _, first, edge = np.unique(code, return_index=True, return_inverse=True)
    used, first_corner, corner = np.unique(corners, return_index=True, return_inverse=True)
    place = raw.ravel()[first_corner]
    middle = ends[first]
    cells = np.concatenate([corner.reshape(-1, 4), len(used) + edge.reshape(-1, len(EDGES))], axis=1).astype(
        np.int64
    )
    return (
        np.concatenate([flat[place], flat[middle].mean(axis=1)]),
        np.concatenate([depth[place], depth[middle].mean(axis=1)]),
        np.concatenate([disc[place], disc[middle[:, 0]]]),
        cells,
    )
