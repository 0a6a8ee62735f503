# SPDX-License-Identifier: MIT
"""Extrusion of the triangles of a flat pattern to quadratic tetrahedra."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from annelid.geometry.body import FloatArray, IntArray
from annelid.geometry.lattice_mesh.flat_triangles import FlatMesh

EDGES = np.array([(0, 1), (1, 2), (2, 0), (0, 3), (1, 3), (2, 3)])  # of tetra10, in the order of its nodes
_CLOSE = 1e-7  # of the extent of the flat pattern: distance within which a corner is on an edge of it


class Slab(NamedTuple):
    """A slab of material between two depths.

    Attributes:
        low: Depth of its lower face along the wall normal, mm.
        high: Depth of its upper face, mm.
        elements: Number of elements through the slab.
        on_struts: Region on the struts; ``None`` for no material.
        between: Region between the struts; ``None`` for no material.
    """

    low: float
    high: float
    elements: int
    on_struts: str | None
    between: str | None


@dataclass(frozen=True)
class ExtrudedMesh:
    """Tetrahedra with their positions in the flat pattern.

    Attributes:
        flat: Flat position of every node, shape (n, 2).
        depth: Depth of every node, shape (n,), mm.
        cells: Nodes of each ``tetra10``, shape (m, 10).
        regions: Cell numbers of each region.
        triangles: Triangle of the flat pattern from which each cell was extruded, shape (m,).
        merged: Whether the periodic edges in x are merged.
    """

    flat: FloatArray
    depth: FloatArray
    cells: IntArray
    regions: dict[str, IntArray]
    triangles: IntArray
    merged: bool


PatternMap = Callable[[FloatArray, IntArray], FloatArray]
"""Maps points (k, 2) of flat pieces with given numbers (k,), such as discs over poles, into the pattern."""


def extrude(
    mesh: FlatMesh, slabs: Sequence[Slab], *, width: float, merge: bool, pattern_map: PatternMap | None = None
) -> ExtrudedMesh:
    """Extrude the triangles of a flat pattern through slabs.

    Every prism is divided into three tetrahedra according to the order of its corners, so that neighbours
    divide their common face in the same way, and so do all copies of a cell.

    Args:
        mesh: The flat pattern.
        slabs: Slabs in order of depth, each beginning where the one before it ends.
        width: Period of the pattern along x.
        merge: Whether to merge the periodic edges at 0 and at ``width``, whose corners match.
        pattern_map: Map of other flat pieces into the pattern, if there are any.
    """
    levels, slab_of_layer = _levels(slabs)
    own = np.arange(len(mesh.points))
    merged_corner = (_merged_corners(mesh, width) if merge else own)[mesh.representative]
    order = np.argsort(_cutting_order(mesh, merged_corner)[mesh.triangles], axis=1)
    sorted_corners = np.take_along_axis(mesh.triangles, order, axis=1)
    blocks, names, base_triangles = [], [], []
    for layer, slab in enumerate(slab_of_layer):
        for region, members in ((slab.on_struts, mesh.on_strut), (slab.between, ~mesh.on_strut)):
            chosen = np.flatnonzero(members)
            if region is None or not len(chosen):
                continue
            blocks.append(_prisms(sorted_corners[chosen], layer, len(levels)))
            names.append((region, 3 * len(chosen)))
            base_triangles.append(np.repeat(chosen, 3))
    raw = np.concatenate(blocks)
    corner_flat = np.repeat(mesh.points, len(levels), axis=0)
    corner_depth = np.tile(levels, len(mesh.points))
    number = (merged_corner[:, None] * len(levels) + np.arange(len(levels))).ravel()
    raw = _right_handed(raw, corner_flat, corner_depth)
    corner_piece = np.repeat(mesh.piece, len(levels))
    flat, depth, piece, cells = _with_middles(raw, number, corner_flat, corner_depth, corner_piece)
    flat = pattern_map(flat, piece) if pattern_map is not None else flat
    region_of = np.repeat([name for name, _ in names], [count for _, count in names])
    regions = {name: np.flatnonzero(region_of == name) for name in dict.fromkeys(name for name, _ in names)}
    return ExtrudedMesh(flat, depth, cells, regions, np.concatenate(base_triangles), merge)


def _cutting_order(mesh: FlatMesh, merged_corner: IntArray) -> IntArray:
    """Order of the corners by which prisms are divided: by rank, then by number."""
    order = np.empty(len(merged_corner), dtype=np.int64)
    order[np.lexsort((merged_corner, mesh.cutting_rank[merged_corner]))] = np.arange(len(merged_corner))
    return order[merged_corner]


def _levels(slabs: Sequence[Slab]) -> tuple[FloatArray, list[Slab]]:
    """All levels of depth, and the slab of each layer of elements."""
    levels, slab_of_layer = [slabs[0].low], []
    for slab in slabs:
        levels += list(np.linspace(slab.low, slab.high, slab.elements + 1)[1:])
        slab_of_layer += [slab] * slab.elements
    return np.array(levels), slab_of_layer


def _merged_corners(mesh: FlatMesh, width: float) -> IntArray:
    """Number of each corner after merging the edge at ``width`` with the edge at 0."""
    here = mesh.piece == 0
    tolerance = _CLOSE * max(width, float(np.ptp(mesh.points[here, 1])))
    near = np.flatnonzero((np.abs(mesh.points[:, 0]) < tolerance) & here)
    far = np.flatnonzero((np.abs(mesh.points[:, 0] - width) < tolerance) & here)
    near, far = (side[np.argsort(mesh.points[side, 1])] for side in (near, far))
    merged_corner = np.arange(len(mesh.points))
    merged_corner[far] = near
    return merged_corner


def _prisms(corners: IntArray, layer: int, levels: int) -> IntArray:
    """Three tetrahedra of each prism; corner v at level k has the number v * levels + k."""
    low = corners * levels + layer
    high = low + 1
    a, b, c = low.T
    d, e, f = high.T
    tetrahedra = np.stack([[a, b, c, f], [a, b, e, f], [a, d, e, f]], axis=0)  # (3, 4, prisms)
    return np.moveaxis(tetrahedra, -1, 0).reshape(-1, 4)


def _right_handed(raw: IntArray, flat: FloatArray, depth: FloatArray) -> IntArray:
    """The tetrahedra with their corners in right-handed order."""
    x = np.column_stack([flat, depth])[raw]
    a, b, c = (x[:, i] - x[:, 0] for i in (1, 2, 3))
    left = np.einsum("ij,ij->i", np.cross(a, b), c) < 0
    raw[left] = raw[left][:, [0, 2, 1, 3]]
    return raw


def _with_middles(
    raw: IntArray, number: IntArray, flat: FloatArray, depth: FloatArray, piece: IntArray
) -> tuple[FloatArray, FloatArray, IntArray, IntArray]:
    """Add mid-side nodes; merged corners and the edges between them are numbered once."""
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
        np.concatenate([piece[place], piece[middle[:, 0]]]),
        cells,
    )
