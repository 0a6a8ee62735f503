# SPDX-License-Identifier: MIT
"""Values of all ranks put together in the order of the body, on the first rank."""

from functools import cached_property

import numpy as np

from annelid.geometry.body import FloatArray, IntArray
from annelid.solver.energy.problem import Problem


class Gathering:
    """Brings nodal and cell values of a problem to the first rank; every call is collective."""

    def __init__(self, problem: Problem) -> None:
        self._problem = problem

    def nodes(self, values: FloatArray) -> FloatArray | None:
        """Owned displacement-like unknowns in body order on the first rank, else ``None``.

        Args:
            values: Local unknowns, those of the displacement first.

        Returns:
            Shape (n, 2) or (n, 3).
        """
        problem = self._problem
        space = problem.spaces[0]
        owned, bs = space.dofmap.index_map.size_local, space.dofmap.index_map_bs
        mine = values[: owned * bs].reshape(owned, bs)
        parts = problem.comm.gather((problem.node_of_dof[:owned], mine))
        if parts is None:
            return None
        every = np.zeros((len(problem.model.body.points), bs))
        for nodes, part in parts:
            every[nodes] = part
        return every

    def cells(self, mine: FloatArray) -> FloatArray | None:
        """Values of the owned cells, shape (owned, ...), in body order on the first rank, else ``None``."""
        original, counts = self._cells_of_ranks
        comm = self._problem.comm
        if comm.size == 1:
            parts = mine
        else:
            row = int(np.prod(mine.shape[1:]))
            parts = np.empty((len(original), *mine.shape[1:]))
            comm.Gatherv(np.ascontiguousarray(mine), (parts, counts * row))
        if comm.rank != 0:
            return None
        every = np.empty_like(parts)
        every[original] = parts
        return every

    @cached_property
    def _cells_of_ranks(self) -> tuple[IntArray, IntArray]:
        """Body cells owned by rank after rank, and how many each has; on the first rank."""
        mesh = self._problem.mesh
        parts = self._problem.comm.gather(mesh.original_cells[: mesh.owned])
        if parts is None:
            return np.empty(0, dtype=np.int64), np.empty(0, dtype=np.int64)
        return np.concatenate(parts), np.array([len(part) for part in parts])
