# SPDX-License-Identifier: MIT
"""The cells that a facet bounds, and the orientation of facets."""

from typing import NamedTuple

import numpy as np

from annelid.geometry.body import FloatArray, IntArray
from annelid.geometry.elements import CORNERS, ELEMENT_NODES, FACETS, shape_gradients

FLIPPED: dict[str, list[int]] = {
    "line3": [1, 0, 2],
    "triangle6": [0, 2, 1, 5, 4, 3],
    "quad9": [0, 3, 2, 1, 7, 6, 5, 4, 8],
}
"""Node order of a facet (or quadrilateral) seen from its other side."""


class Neighbours(NamedTuple):
    """The cells at some facets.

    Attributes:
        sharing: Number of cells that share each facet, shape (f,): 0 (none), 1 (free facet) or 2.
        cell_facet: One of these cells, as cell * facets per cell + local facet, shape (f,); -1 if none.
    """

    sharing: IntArray
    cell_facet: IntArray


def all_facets(cell_type: str, cells: IntArray) -> IntArray:
    """Return the facets of all cells, oriented outwards, (cells * facets per cell, nodes per facet)."""
    local = FACETS[cell_type][1]
    return cells[:, local].reshape(-1, local.shape[1])


def neighbours(cell_type: str, cells: IntArray, facets: IntArray) -> Neighbours:
    """Find the cells that are bounded by the given facets (f, nodes per facet)."""
    corners = CORNERS[FACETS[cell_type][0]]
    owned = all_facets(cell_type, cells)
    keys = np.sort(np.concatenate([owned, facets])[:, :corners], axis=1)
    _, group = np.unique(keys, axis=0, return_inverse=True)
    group = group.ravel()
    own, queried = group[: len(owned)], group[len(owned) :]
    size = int(group.max()) + 1
    first = np.full(size, -1, dtype=np.int64)
    first[own[::-1]] = np.arange(len(owned))[::-1]
    return Neighbours(np.bincount(own, minlength=size)[queried], first[queried])


def facet_normals(points: FloatArray, facet_type: str, facets: IntArray) -> FloatArray:
    """Return the unit right-hand normals at the nodes of facets, shape (f, nodes per facet, d)."""
    gradients = shape_gradients(facet_type, ELEMENT_NODES[facet_type])
    tangents = np.einsum("fni,qnj->fqji", points[facets], gradients, optimize=True)
    if facet_type == "line3":
        along = tangents[..., 0, :]
        normal = np.stack([along[..., 1], -along[..., 0]], axis=-1)
    else:
        normal = np.cross(tangents[..., 0, :], tangents[..., 1, :])
    return np.asarray(normal / np.linalg.norm(normal, axis=-1, keepdims=True))
