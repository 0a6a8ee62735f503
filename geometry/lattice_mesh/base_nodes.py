# SPDX-License-Identifier: MIT
"""What is laid on a wall: on which of its nodes every other node stands, and the wall alone."""

from typing import NamedTuple

import numpy as np

from annelid.geometry.body import Body, IntArray
from annelid.geometry.lattice_mesh.extrusion import Thickened

_CLOSE = 1e-7  # share of the extent of the flat pattern within which two nodes lie in one column


def footing(thick: Thickened, wall: IntArray, width: float) -> IntArray:
    """Return the node of the wall's face at depth 0 under (or over) every other node.

    Args:
        thick: Wall and what is laid on it, the face between them at depth 0.
        wall: Nodes of the wall, each of which stands on itself.
        width: Period of the flat pattern along x.

    Returns:
        Shape (n,), node numbers.
    """
    from scipy.spatial import cKDTree

    flat = thick.flat.copy()
    flat[np.isinf(flat)] = 2 * np.abs(flat[np.isfinite(flat)]).max()  # poles
    extent = float((flat.max(axis=0) - flat.min(axis=0)).max())
    foot = np.arange(len(flat))
    laid = np.setdiff1d(foot, wall)
    face = wall[np.abs(thick.depth[wall]) < 1e-9 + 1e-7 * np.ptp(thick.depth)]
    if thick.merged:
        flat[:, 0] = np.mod(flat[:, 0] + _CLOSE * extent, width)
    distance, nearest = cKDTree(flat[face]).query(flat[laid])
    assert np.all(distance < _CLOSE * extent)
    foot[laid] = face[nearest]
    return foot


class Piece(NamedTuple):
    """Some regions of a body as a body of its own.

    Attributes:
        body: The piece, with those named surfaces that it has part of.
        nodes: Node of the whole for each of its nodes.
        cells: Cell of the whole for each of its cells.
    """

    body: Body
    nodes: IntArray
    cells: IntArray


def without(body: Body, regions: tuple[str, ...]) -> Piece:
    """Take regions away from a body; electrodes are left out, too."""
    kept = {name: cells for name, cells in body.regions.items() if name not in regions}
    cells = np.sort(np.concatenate(list(kept.values())))
    nodes, numbered = np.unique(body.cells[cells], return_inverse=True)
    number = np.full(len(body.points), -1, dtype=np.int64)
    number[nodes] = np.arange(len(nodes))
    own = np.flatnonzero(np.all(number[body.facets] >= 0, axis=1))
    facet = np.full(len(body.facets), -1, dtype=np.int64)
    facet[own] = np.arange(len(own))
    surfaces = {
        name: facet[members[facet[members] >= 0]]
        for name, members in body.surfaces.items()
        if "|" not in name and np.any(facet[members] >= 0)
    }
    piece = Body(
        model=body.model,
        points=body.points[nodes],
        cell_type=body.cell_type,
        cells=numbered.reshape(len(cells), -1),
        regions={name: np.searchsorted(cells, members) for name, members in kept.items()},
        bands={},
        facets=number[body.facets[own]],
        surfaces=surfaces,
        normal=body.normal[nodes],
        hoop=None if body.hoop is None else body.hoop[nodes],
        multiplicity=body.multiplicity,
    )
    return Piece(piece, nodes, cells)
