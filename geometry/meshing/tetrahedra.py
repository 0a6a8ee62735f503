# SPDX-License-Identifier: MIT
"""Split hexahedra into conforming tetrahedra on the nodes of the hexahedra."""

import numpy as np

from annelid.geometry.body import IntArray
from annelid.geometry.elements import CORNERS, ELEMENT_NODES, FACETS, node_at

PIECES = 6
"""Number of tetrahedra of each hexahedron."""


def split(cells: IntArray) -> IntArray:
    """Split each ``hexahedron27`` into six ``tetra10``.

    All tetrahedra of a hexahedron share its lowest-numbered corner, and every face is divided by the diagonal
    through its lowest-numbered corner, so that neighbours divide their common face in the same way. Mid-side
    nodes of face and body diagonals are the face and centre nodes of the hexahedron.

    Args:
        cells: Nodes of the hexahedra, shape (m, 27).

    Returns:
        Nodes of the tetrahedra, shape (6 m, 10), those of one hexahedron consecutively.
    """
    corners = cells[:, : CORNERS["hexahedron27"]]
    apex = np.argmin(corners, axis=1)
    pieces = np.empty((len(cells), PIECES, 10), dtype=np.int64)
    for top in range(CORNERS["hexahedron27"]):
        mine = np.flatnonzero(apex == top)
        faces = [face[:4] for face in FACETS["hexahedron27"][1] if top not in face[:4]]
        for index, face in enumerate(faces):
            through_first = np.argmin(cells[mine][:, face], axis=1) % 2 == 0
            a, b, c, d = face
            for cut, halves in (
                (through_first, ((a, c, b), (a, d, c))),
                (~through_first, ((b, d, c), (b, a, d))),
            ):
                for half, triangle in enumerate(halves):
                    nodes = _with_middles([*triangle, top])
                    pieces[mine[cut], 2 * index + half] = cells[mine[cut]][:, nodes]
    return pieces.reshape(-1, 10)


def _with_middles(corners: list[int]) -> list[int]:
    """Return the local nodes of a hexahedron that form the tetrahedron on four of its corners."""
    hexahedron, tetra = ELEMENT_NODES["hexahedron27"], ELEMENT_NODES["tetra10"]
    weights = np.column_stack([1 - tetra.sum(axis=1), tetra])
    return [node_at(hexahedron, weight @ hexahedron[corners]) for weight in weights]
