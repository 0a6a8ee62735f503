# SPDX-License-Identifier: MIT
"""Second-order cells: reference node positions, facets and shape functions, in the node order of VTK."""

from functools import cache
from itertools import product

import numpy as np

from annelid.geometry.body import FloatArray, IntArray

# Each node is the mean of the corners listed for it; the order is that of the VTK file format.
_QUAD_CORNERS = ((0, 0), (1, 0), (1, 1), (0, 1))
_HEXAHEDRON_CORNERS = (
    (0, 0, 0), (1, 0, 0), (1, 1, 0), (0, 1, 0), (0, 0, 1), (1, 0, 1), (1, 1, 1), (0, 1, 1),
)  # fmt: skip
_TETRA_CORNERS = ((0, 0, 0), (1, 0, 0), (0, 1, 0), (0, 0, 1))
_QUAD_NODES = ((0,), (1,), (2,), (3,), (0, 1), (1, 2), (2, 3), (3, 0), (0, 1, 2, 3))
_HEXAHEDRON_NODES = (
    (0,), (1,), (2,), (3,), (4,), (5,), (6,), (7,),
    (0, 1), (1, 2), (2, 3), (3, 0), (4, 5), (5, 6), (6, 7), (7, 4), (0, 4), (1, 5), (2, 6), (3, 7),
    (0, 3, 7, 4), (1, 2, 6, 5), (0, 1, 5, 4), (3, 2, 6, 7), (0, 1, 2, 3), (4, 5, 6, 7),
    (0, 1, 2, 3, 4, 5, 6, 7),
)  # fmt: skip
_TETRA_NODES = ((0,), (1,), (2,), (3,), (0, 1), (1, 2), (2, 0), (0, 3), (1, 3), (2, 3))
_LINE_NODES = ((0,), (1,), (0, 1))
_TRIANGLE_NODES = ((0,), (1,), (2,), (0, 1), (1, 2), (2, 0))


def _positions(corners: tuple[tuple[int, ...], ...], nodes: tuple[tuple[int, ...], ...]) -> FloatArray:
    """Return the mean corner of every node, shape (nodes, dimension)."""
    table = np.array(corners, dtype=np.float64)
    return np.array([table[list(node)].mean(axis=0) for node in nodes])


ELEMENT_NODES: dict[str, FloatArray] = {
    "line3": _positions(((0,), (1,)), _LINE_NODES),
    "triangle6": _positions(((0, 0), (1, 0), (0, 1)), _TRIANGLE_NODES),
    "quad9": _positions(_QUAD_CORNERS, _QUAD_NODES),
    "tetra10": _positions(_TETRA_CORNERS, _TETRA_NODES),
    "hexahedron27": _positions(_HEXAHEDRON_CORNERS, _HEXAHEDRON_NODES),
}
"""Reference positions of the nodes of each cell type, in [0, 1]^d."""

CORNERS: dict[str, int] = {"line3": 2, "triangle6": 3, "quad9": 4, "tetra10": 4, "hexahedron27": 8}
"""Number of corners of each cell type; they are its first nodes."""

# Corners of the facets, ordered so that the right-hand normal points out of the cell (in the plane: so that
# the outside is on the right).
_FACET_CORNERS: dict[str, tuple[str, tuple[tuple[int, ...], ...], tuple[tuple[int, ...], ...]]] = {
    "quad9": ("line3", _LINE_NODES, ((0, 1), (1, 2), (2, 3), (3, 0))),
    "tetra10": ("triangle6", _TRIANGLE_NODES, ((0, 2, 1), (0, 1, 3), (1, 2, 3), (2, 0, 3))),
    "hexahedron27": (
        "quad9",
        _QUAD_NODES,
        ((0, 4, 7, 3), (1, 2, 6, 5), (0, 1, 5, 4), (3, 7, 6, 2), (0, 3, 2, 1), (4, 5, 6, 7)),
    ),
}


def _lumping_weights(nodes: tuple[tuple[int, ...], ...], *, simplex: bool) -> FloatArray:
    """Lumping weights of the nodes of a cell: ∫ N² of each shape function over their sum; never negative.

    On quadrilaterals and hexahedra they are the weights of Simpson's rule. Hinton, Rock, Zienkiewicz, Earthq.
    Eng. Struct. Dyn. 4, 245 (1976), from memory.
    """
    if simplex:
        return np.array([1 / 36 if len(node) == 1 else 4 / 27 for node in nodes])
    half_way = np.log2([len(node) for node in nodes])  # directions in which the node is half-way
    dimension = int(half_way.max())
    return np.array(4.0**half_way / 6.0**dimension)


LUMPING_WEIGHTS: dict[str, FloatArray] = {
    "quad9": _lumping_weights(_QUAD_NODES, simplex=False),
    "tetra10": _lumping_weights(_TETRA_NODES, simplex=True),
    "hexahedron27": _lumping_weights(_HEXAHEDRON_NODES, simplex=False),
}
"""Fraction of the volume of a cell that is lumped at each of its nodes; the fractions sum to 1."""


def _facet_nodes(cell_type: str) -> tuple[str, IntArray]:
    facet_type, nodes, facets = _FACET_CORNERS[cell_type]
    reference = ELEMENT_NODES[cell_type]
    table = [
        [node_at(reference, reference[[f[c] for c in node]].mean(axis=0)) for node in nodes] for f in facets
    ]
    return facet_type, np.array(table, dtype=np.int64)


def node_at(reference: FloatArray, position: FloatArray) -> int:
    """Return the number of the reference node at ``position``, shape (d,)."""
    return int(np.flatnonzero(np.all(np.abs(reference - position) < 1e-9, axis=1))[0])


FACETS: dict[str, tuple[str, IntArray]] = {kind: _facet_nodes(kind) for kind in _FACET_CORNERS}
"""Facet type of each cell type, and local nodes of its facets seen from outside, shape (facets, nodes)."""


@cache
def _exponents(cell_type: str) -> IntArray:
    """Return the exponents of the monomials that span the quadratic space of the cell, shape (nodes, d)."""
    dimension = ELEMENT_NODES[cell_type].shape[1]
    powers = np.array(list(product(range(3), repeat=dimension)), dtype=np.int64)
    simplex = cell_type in ("triangle6", "tetra10")
    return powers[powers.sum(axis=1) <= 2] if simplex else powers


def shape_values(cell_type: str, points: FloatArray) -> FloatArray:
    """Return the shape functions at reference points (k, d), shape (k, nodes)."""
    powers = _exponents(cell_type)
    monomials = np.prod(points[:, None, :] ** powers, axis=2)
    nodal = np.prod(ELEMENT_NODES[cell_type][:, None, :] ** powers, axis=2)
    return np.linalg.solve(nodal.T, monomials.T).T


def shape_gradients(cell_type: str, points: FloatArray) -> FloatArray:
    """Return the reference gradients of the shape functions at reference points (k, d), (k, nodes, d)."""
    powers = _exponents(cell_type)
    nodal = np.prod(ELEMENT_NODES[cell_type][:, None, :] ** powers, axis=2)
    parts = []
    for axis in range(points.shape[1]):
        lowered = powers.copy()
        lowered[:, axis] = np.maximum(powers[:, axis] - 1, 0)
        monomials = powers[:, axis] * np.prod(points[:, None, :] ** lowered, axis=2)
        parts.append(np.linalg.solve(nodal.T, monomials.T).T)
    return np.stack(parts, axis=2)
