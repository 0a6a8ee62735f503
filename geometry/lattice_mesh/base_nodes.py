# SPDX-License-Identifier: MIT
"""Base nodes of what is deposited on a wall, and the body without some regions."""

from typing import NamedTuple

import numpy as np

from annelid.geometry.body import Body, IntArray
from annelid.geometry.lattice_mesh.extrusion import ExtrudedMesh

_CLOSE = 1e-7  # of the extent of the flat pattern: nodes nearer than this lie above each other


def base_nodes(extruded: ExtrudedMesh, wall: IntArray, width: float) -> IntArray:
    """Return for every node outside of the wall the node at the same flat position on its face at depth 0.

    Args:
        extruded: The wall and what is deposited on it, with the face between them at depth 0.
        wall: Nodes of the wall; each of them is its own base node.
        width: Period of the flat pattern along x.

    Returns:
        Node numbers, shape (n,).
    """
    from scipy.spatial import cKDTree

    flat = extruded.flat.copy()
    flat[np.isinf(flat)] = 2 * np.abs(flat[np.isfinite(flat)]).max()  # poles
    extent = float((flat.max(axis=0) - flat.min(axis=0)).max())
    base = np.arange(len(flat))
    others = np.setdiff1d(base, wall)
    face = wall[np.abs(extruded.depth[wall]) < 1e-9 + 1e-7 * np.ptp(extruded.depth)]
    if extruded.merged:
        flat[:, 0] = np.mod(flat[:, 0] + _CLOSE * extent, width)
    distance, nearest = cKDTree(flat[face]).query(flat[others])
    assert np.all(distance < _CLOSE * extent)
    base[others] = face[nearest]
    return base


class SubBody(NamedTuple):
    """Some regions of a body as a separate body.

    Attributes:
        body: The separate body, with the named surfaces of which it has a part.
        nodes: Node of the original body for each node.
        cells: Cell of the original body for each cell.
    """

    body: Body
    nodes: IntArray
    cells: IntArray


def without_regions(body: Body, regions: tuple[str, ...]) -> SubBody:
    """Return a body without some regions, and without electrodes."""
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
    return SubBody(piece, nodes, cells)
