# SPDX-License-Identifier: MIT
"""From a body to a DOLFINx mesh that remembers which node, cell and facet is which."""

from dataclasses import dataclass

import basix
import basix.ufl
import dolfinx
import numpy as np
import ufl
from mpi4py import MPI
from numpy.typing import NDArray

from annelid.geometry.body import Body, FloatArray, IntArray
from annelid.geometry.elements import ELEMENT_NODES
from annelid.geometry.errors import InputError

_SHAPES = {
    "quad9": basix.CellType.quadrilateral,
    "hexahedron27": basix.CellType.hexahedron,
    "tetra10": basix.CellType.tetrahedron,
}


@dataclass(frozen=True)
class MeshedBody:
    """A body and its (possibly distributed) DOLFINx mesh.

    Attributes:
        body: The body as drawn; every rank holds it whole.
        domain: The DOLFINx mesh, second-order geometry.
        original_cells: Body cell number of each local cell, owned and ghost.
        order: ``body.cells[c, order]`` lists the nodes of a cell in DOLFINx order.
        local_of: Local cell number of each body cell, -1 where another rank owns it.
    """

    body: Body
    domain: dolfinx.mesh.Mesh
    original_cells: IntArray
    order: IntArray
    local_of: IntArray

    @property
    def owned(self) -> int:
        """Number of cells this rank owns."""
        return int(self.domain.topology.index_map(self.domain.topology.dim).size_local)

    def cells_of(self, body_cells: IntArray) -> NDArray[np.int32]:
        """Local numbers of those of the given body cells that this rank owns, sorted, int32."""
        local = self.local_of[body_cells]
        return np.sort(local[(local >= 0) & (local < self.owned)]).astype(np.int32)

    def nodes_of_dofs(self, space: dolfinx.fem.FunctionSpace) -> IntArray:
        """Body node of each local dof (block) of a second-order Lagrange space, shape (dofs,)."""
        dofmap = space.dofmap
        size = dofmap.index_map.size_local + dofmap.index_map.num_ghosts
        nodes = np.full(size, -1, dtype=np.int64)
        nodes[dofmap.list] = self.body.cells[self.original_cells][:, self.order]
        return nodes

    def facet_entities(self, surface: str) -> NDArray[np.int32]:
        """Pairs (local cell, local facet) of a named outer surface on this rank, flattened, int32.

        Raises:
            InputError: The surface does not exist or lies inside the body.
        """
        facets = self.body.facets[self.body.facet_numbers(surface)]
        reference = basix.topology(_SHAPES[self.body.cell_type])[-2]
        corners = self.body.cells[:, self.order[: len(basix.topology(_SHAPES[self.body.cell_type])[0])]]
        width = len(reference[0])
        wanted = np.sort(facets[:, :width], axis=1)
        candidates = np.sort(corners[:, np.array(reference)], axis=2)
        rows = np.concatenate([candidates.reshape(-1, width), wanted])
        _, key = np.unique(rows, axis=0, return_inverse=True)
        on_surface = np.isin(key[: -len(wanted)], key[-len(wanted) :]).reshape(candidates.shape[:2])
        if on_surface.sum() != len(wanted):
            raise InputError(
                f"surface '{surface}' lies inside the body; a fluid pressure or a tissue bed needs an "
                f"outer surface",
                key=surface,
            )
        cell, facet = np.nonzero(on_surface)
        local = self.local_of[cell]
        mine = (local >= 0) & (local < self.owned)
        pairs = np.stack([local[mine], facet[mine]], axis=1)
        return pairs[np.lexsort((pairs[:, 1], pairs[:, 0]))].astype(np.int32).ravel()


def mesh_body(body: Body, comm: MPI.Comm) -> MeshedBody:
    """Build the DOLFINx mesh of a body; collective, every rank passes the same body.

    Raises:
        InputError: The cell type is not one of the second-order ones the project uses, or there are fewer
            cells than ranks.
    """
    if body.cell_type not in _SHAPES:
        raise InputError(
            f"cell type '{body.cell_type}' is not supported; use one of: {', '.join(_SHAPES)}",
            key="cell_type",
        )
    shape = _SHAPES[body.cell_type]
    element = basix.ufl.element("Lagrange", shape.name, 2, shape=(body.points.shape[1],))
    order = _match(element.basix_element.points, ELEMENT_NODES[body.cell_type])
    first = comm.rank == 0
    cells = body.cells[:, order] if first else np.empty((0, len(order)), dtype=np.int64)
    points = body.points if first else np.empty((0, body.points.shape[1]))
    domain = dolfinx.mesh.create_mesh(comm, cells, ufl.Mesh(element), points)
    original = np.asarray(domain.topology.original_cell_index, dtype=np.int64)
    if comm.allreduce(len(original), op=MPI.MIN) == 0:
        raise InputError(
            f"{len(body.cells)} cells of the mesh are too few for {comm.size} ranks; ask for fewer ranks",
            key="ranks",
            value=comm.size,
        )
    local_of = np.full(len(body.cells), -1, dtype=np.int64)
    local_of[original] = np.arange(len(original))
    return MeshedBody(body, domain, original, order, local_of)


def _match(points: FloatArray, table: FloatArray) -> IntArray:
    """For each of ``points`` the row of ``table`` at the same place."""
    distance = np.linalg.norm(points[:, None, :] - np.asarray(table)[None, :, :], axis=2)
    order = np.argmin(distance, axis=1)
    assert np.all(distance[np.arange(len(order)), order] < 1e-12)
    return order.astype(np.int64)
