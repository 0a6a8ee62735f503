# SPDX-License-Identifier: MIT
"""Spaces of unknowns: the pressure that pairs with quadratic displacement, free to jump between parts."""

from collections.abc import Sequence
from typing import Any

import basix.ufl
import dolfinx
import numpy as np
from dolfinx import fem

from annelid.geometry.body import IntArray
from annelid.solver.energy.mesh import MeshedBody

_TAG = 1371  # of the messages in which ranks agree on who shares unknowns


def pressure_element(cell: Any) -> Any:
    """Pressure element that pairs with quadratic displacement.

    Linear and discontinuous on quadrilaterals and hexahedra, so that the pressure may jump where materials or
    electrodes end; linear and continuous on tetrahedra, within a part.
    """
    if cell.name == "tetrahedron":
        return basix.ufl.element("Lagrange", cell, 1)
    return basix.ufl.element("DPC", cell, 1, discontinuous=True)


def pressure_space(mesh: MeshedBody) -> fem.FunctionSpace:
    """Space of the pressure unknown; collective."""
    domain = mesh.domain
    space = fem.functionspace(domain, pressure_element(domain.basix_cell()))
    if mesh.body.cell_type != "tetra10" or len(mesh.body.regions) == 1:
        return space
    return _apart(space, mesh)


def _apart(space: fem.FunctionSpace, mesh: MeshedBody) -> fem.FunctionSpace:
    """The same space with unknowns of its own for every region, at the corners where regions meet."""
    cpp, comm = dolfinx.cpp, mesh.domain.comm
    number, owner = _numbered(mesh, space.dofmap.list.shape[1])
    first_of = np.searchsorted(np.sort(owner), np.arange(comm.size))
    position = np.empty(len(owner), dtype=np.int64)
    position[np.argsort(owner, kind="stable")] = np.arange(len(owner))
    here = np.unique(number[mesh.original_cells])
    own = np.flatnonzero(owner == comm.rank)
    ghosts = here[owner[here] != comm.rank]
    local = np.full(len(owner), -1, dtype=np.int32)
    local[own] = position[own] - first_of[comm.rank]
    local[ghosts] = len(own) + np.arange(len(ghosts))
    index_map = cpp.common.IndexMap(comm, len(own), position[ghosts], owner[ghosts].astype(np.int32), _TAG)
    dofs = cpp.graph.AdjacencyList_int32(local[number[mesh.original_cells]])
    dofmap = cpp.fem.DofMap(space.dofmap.dof_layout, index_map, 1, dofs, 1)
    kind = type(space._cpp_object)
    return fem.FunctionSpace(
        mesh.domain, space.ufl_element(), kind(mesh.domain._cpp_object, space.element._cpp_object, dofmap)
    )


def _numbered(mesh: MeshedBody, corners: int) -> tuple[IntArray, IntArray]:
    """Number of the unknown at each corner of each cell of the body, and the rank that owns each unknown."""
    body, comm = mesh.body, mesh.domain.comm
    region = np.empty(len(body.cells), dtype=np.int64)
    for i, members in enumerate(body.regions.values()):
        region[members] = i
    key = body.cells[:, mesh.order[:corners]] * len(body.regions) + region[:, None]
    pairs, number = np.unique(key, return_inverse=True)
    number = number.reshape(key.shape)
    rank = np.empty(len(body.cells), dtype=np.int64)
    for r, cells in enumerate(comm.allgather(mesh.original_cells[: mesh.owned])):
        rank[cells] = r
    owner = np.full(len(pairs), comm.size, dtype=np.int64)
    np.minimum.at(owner, number, rank[:, None])
    return number, owner


def describe_unknowns(spaces: Sequence[fem.FunctionSpace]) -> dict[str, int]:
    """Number of unknowns of each field and in all.

    Args:
        spaces: Those of displacement, pressure and, if it is solved, potential.
    """
    counts = {
        name: V.dofmap.index_map.size_global * V.dofmap.index_map_bs
        for name, V in zip(("displacement", "pressure", "potential"), spaces, strict=False)
    }
    return counts | {"all": sum(counts.values())}
