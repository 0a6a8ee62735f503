# SPDX-License-Identifier: MIT
"""Regions, bands and surfaces of a mesh, named by the patches of its layout."""

from collections.abc import Mapping
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from annelid.geometry.body import FloatArray, IntArray
from annelid.geometry.elements import CORNERS, FACETS
from annelid.geometry.meshing.mapped_plane import MappedPlane


class GridMesh(NamedTuple):
    """A mesh with its coordinates on the grid of a layout.

    Attributes:
        cell_type: Cell type.
        grid: Grid coordinates of the nodes in half elements, shape (n, 2); whole numbers on grid lines.
        cells: Nodes of each cell, shape (m, nodes per cell).
        patches: Patch (i, j) of each cell, shape (m, 2).
    """

    cell_type: str
    grid: FloatArray
    cells: IntArray
    patches: IntArray


def named_cells(
    mapped: MappedPlane, mesh: GridMesh, covered: Mapping[str, NDArray[np.bool_]] | None = None
) -> tuple[dict[str, IntArray], dict[str, IntArray]]:
    """Return the cell numbers of each region and of each band.

    Args:
        mapped: Layout with the names.
        mesh: The mesh.
        covered: For bands that do not go all around, whether each cell is at an angle that they cover.
    """
    covered = covered or {}
    code = _patch_code(mapped, mesh.patches)
    of = {patch: _patch_code(mapped, np.array([patch]))[0] for patch in mapped.regions}
    regions = {
        name: np.flatnonzero(np.isin(code, [of[p] for p, region in mapped.regions.items() if region == name]))
        for name in sorted(set(mapped.regions.values()), key=lambda name: mapped.rank[name])
    }
    bands = {
        band: np.flatnonzero(np.isin(code, [of[p] for p in patches]) & covered.get(band, True))
        for band, patches in mapped.bands.items()
    }
    return regions, bands


def named_facets(
    mapped: MappedPlane, mesh: GridMesh, bands: Mapping[str, IntArray], planes: Mapping[str, IntArray]
) -> tuple[IntArray, dict[str, IntArray]]:
    """Return the named facets, each once, and the facet numbers of each surface.

    The right-hand normal of a free facet points out of the material, that of a facet between two cells away
    from the inner cell.

    Args:
        mapped: Layout with the names.
        mesh: The mesh.
        bands: Cell numbers of each band.
        planes: Further surfaces, given by the nodes on them (planes of a sector).
    """
    _, local = FACETS[mesh.cell_type]
    facets = mesh.cells[:, local].reshape(-1, local.shape[1])
    side = _facet_sides(mapped, mesh, facets, len(local))
    code = np.repeat(_patch_code(mapped, mesh.patches), len(local)) * 4 + side
    code[side < 0] = -1
    members: dict[str, list[IntArray]] = {}
    for (i, j, number), names in mapped.names().items():
        key = _patch_code(mapped, np.array([[i, j]]))[0] * 4 + number
        numbers = np.flatnonzero(code == key)
        for name in names:
            members.setdefault(name, []).append(numbers)
    for band, cells in bands.items():
        for name in (f"{band}.inner", f"{band}.outer"):
            members[name] = [n[np.isin(n // len(local), cells)] for n in members.get(name, ())]
    for name, nodes in planes.items():
        members[name] = [np.flatnonzero(np.isin(facets, nodes).all(axis=1))]
    facets_of = {name: np.concatenate(numbers) for name, numbers in members.items() if numbers}
    return _once(facets, mesh, {name: numbers for name, numbers in facets_of.items() if len(numbers)})


def _once(
    facets: IntArray, mesh: GridMesh, members: dict[str, IntArray]
) -> tuple[IntArray, dict[str, IntArray]]:
    """Number the named facets so that each appears once, oriented as in the inner of its cells."""
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
    return facets[named[chosen]], {name: np.unique(number[numbers]) for name, numbers in members.items()}


def _facet_sides(mapped: MappedPlane, mesh: GridMesh, facets: IntArray, per_cell: int) -> IntArray:
    """Return the side of its patch on which each facet lies, or -1."""
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
