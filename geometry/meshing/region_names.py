# SPDX-License-Identifier: MIT
"""From patches to names: regions, bands and surfaces of a mesh that is made on a mapped plane."""

from typing import NamedTuple

import numpy as np

from annelid.geometry.body import FloatArray, IntArray
from annelid.geometry.elements import CORNERS, FACETS
from annelid.geometry.meshing.mapped_plane import MappedPlane


class Grid(NamedTuple):
    """A mesh that knows where it lies on the mapped plane's counting grid.

    Attributes:
        cell_type: Cell type of the body to be.
        grid: Grid coordinates of the nodes in half elements, shape (n, 2); whole numbers on grid lines.
        cells: Nodes of each cell, shape (m, nodes per cell).
        patches: Patch (i, j) of each cell, shape (m, 2).
    """

    cell_type: str
    grid: FloatArray
    cells: IntArray
    patches: IntArray


def named_cells(mapped: MappedPlane, mesh: Grid) -> tuple[dict[str, IntArray], dict[str, IntArray]]:
    """Return the cell numbers of each region and of each band."""
    code = _patch_code(mapped, mesh.patches)
    of = {patch: _patch_code(mapped, np.array([patch]))[0] for patch in mapped.regions}
    regions = {
        name: np.flatnonzero(np.isin(code, [of[p] for p, region in mapped.regions.items() if region == name]))
        for name in sorted(set(mapped.regions.values()), key=lambda name: mapped.rank[name])
    }
    bands = {
        band: np.flatnonzero(np.isin(code, [of[p] for p in patches]))
        for band, patches in mapped.bands.items()
    }
    return regions, bands


def named_facets(
    mapped: MappedPlane, mesh: Grid, planes: dict[str, IntArray]
) -> tuple[IntArray, dict[str, IntArray]]:
    """Return the named facets, each once, and the facet numbers of each surface.

    A free facet is turned so that its right-hand normal points out of the material, a facet between
    two cells so that it points away from the inner one.

    Args:
        mapped: Where the names come from.
        mesh: The mesh.
        planes: Further surfaces by the numbers of the nodes that lie on them (planes of a sector).
    """
    _, local = FACETS[mesh.cell_type]
    facets = mesh.cells[:, local].reshape(-1, local.shape[1])
    side = _facet_sides(mapped, mesh, facets, len(local))
    code = np.repeat(_patch_code(mapped, mesh.patches), len(local)) * 4 + side
    code[side < 0] = -1
    members: dict[str, list[IntArray]] = {}
    for (i, j, number), names in mapped.names().items():
        key = _patch_code(mapped, np.array([[i, j]]))[0] * 4 + number
        hits = np.flatnonzero(code == key)
        for name in names:
            members.setdefault(name, []).append(hits)
    for name, nodes in planes.items():
        members[name] = [np.flatnonzero(np.isin(facets, nodes).all(axis=1))]
    found = {name: np.concatenate(hits) for name, hits in members.items()}
    return _once(facets, mesh, {name: hits for name, hits in found.items() if len(hits)})


def _once(facets: IntArray, mesh: Grid, members: dict[str, IntArray]) -> tuple[IntArray, dict[str, IntArray]]:
    """Number the named facets so that each comes once, seen from the inner of the cells it bounds."""
    corners = CORNERS[FACETS[mesh.cell_type][0]]
    named = np.unique(np.concatenate(list(members.values())))
    key = np.sort(facets[named][:, :corners], axis=1)
    _, position = np.unique(key, axis=0, return_inverse=True)
    position = position.ravel()
    depth = mesh.patches[named // (len(facets) // len(mesh.cells)), 0]
    order = np.lexsort((depth, position))
    chosen = order[np.concatenate([[True], np.diff(position[order]) > 0])]
    number = np.full(len(facets), -1, dtype=np.int64)
    number[named] = position
    return facets[named[chosen]], {name: np.unique(number[hits]) for name, hits in members.items()}


def _facet_sides(mapped: MappedPlane, mesh: Grid, facets: IntArray, per_cell: int) -> IntArray:
    """Return on which side of its own patch each facet lies, or -1."""
    patch = np.repeat(mesh.patches, per_cell, axis=0)
    across = 2 * np.concatenate([[0], np.cumsum(mapped.columns)])
    up = 2 * np.concatenate([[0], np.cumsum(mapped.rows)])
    lines = (
        (0, across[patch[:, 0]]),
        (0, across[patch[:, 0] + 1]),
        (1, up[patch[:, 1]]),
        (1, up[patch[:, 1] + 1]),
    )
    side = np.full(len(facets), -1, dtype=np.int64)
    for number, (axis, line) in enumerate(lines):
        side[np.all(mesh.grid[facets, axis] == line[:, None], axis=1)] = number
    return side


def _patch_code(mapped: MappedPlane, patches: IntArray) -> IntArray:
    return patches[:, 0] * len(mapped.rows) + patches[:, 1]
