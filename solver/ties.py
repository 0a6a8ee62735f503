# SPDX-License-Identifier: MIT
"""Ties between unknowns as a sparse map x = T q, so that K becomes TᵀKT."""

from dataclasses import dataclass

import dolfinx_solver  # noqa: F401  (orders MPI ahead of the bindings)

import numpy as np
from mpi4py import MPI
from petsc4py import PETSc

from geometry.body import IntArray
from solver.problem import Problem
from solver.supports import Constraints


@dataclass
class Ties:
    """The map of the independent unknowns q to all unknowns x, with work vectors.

    Attributes:
        T: Sparse map, shape (x, q).
        rhs: Work vector of the size of q.
        solution: Work vector of the size of q.
        folded: Work vector of the size of x.
    """

    T: PETSc.Mat
    rhs: PETSc.Vec
    solution: PETSc.Vec
    folded: PETSc.Vec
    own: IntArray

    def spread(self, q: PETSc.Vec, x: PETSc.Vec) -> None:
        """Write q at the independent unknowns of x, zero at the slaves."""
        x.set(0.0)
        x.array_w[self.own] = q.array_r


def tie_matrix(problem: Problem, x: PETSc.Vec, constraints: Constraints) -> Ties | None:
    """Build T for the ties of a model; ``None`` when there are none. Collective."""
    if not constraints.ties:
        return None
    comm = problem.comm
    fixed = {(int(n), f.component) for f in constraints.fixed for n in f.nodes}
    slaves, masters, factors = _pairs(constraints)
    keep = np.array([tuple(s) not in fixed for s in slaves.tolist()], dtype=bool)
    slaves, masters, factors = slaves[keep], masters[keep], factors[keep]
    dof_of = _global_dofs(problem, x)
    slave_dofs, master_dofs = (dof_of[pairs[:, 0]] + pairs[:, 1] for pairs in (slaves, masters))
    low, high = x.getOwnershipRange()
    free = np.ones(high - low, dtype=bool)
    free[slave_dofs[(slave_dofs >= low) & (slave_dofs < high)] - low] = False
    own = np.flatnonzero(free)
    start = comm.exscan(len(own), op=MPI.SUM) or 0
    columns = np.full(x.getSize(), -1, dtype=np.int64)
    mine = np.full(x.getSize(), -1, dtype=np.int64)
    mine[low + own] = start + np.arange(len(own))
    comm.Allreduce(mine, columns, op=MPI.MAX)
    T = PETSc.Mat().createAIJ(((high - low, None), (len(own), None)), nnz=1, comm=comm)
    local = (slave_dofs >= low) & (slave_dofs < high)
    rows = np.concatenate([low + own, slave_dofs[local]]).astype(PETSc.IntType)
    cols = np.concatenate([columns[low + own], columns[master_dofs[local]]]).astype(PETSc.IntType)
    data = np.concatenate([np.ones(len(own)), factors[local]])
    sort = np.argsort(rows, kind="stable")
    T.setValuesCSR(np.arange(len(rows) + 1, dtype=PETSc.IntType), cols[sort], data[sort])
    T.assemble()
    solution, folded = T.createVecs()
    return Ties(T, solution.duplicate(), solution, folded, own)


def _pairs(constraints: Constraints) -> tuple[IntArray, IntArray, IntArray]:
    slaves = np.concatenate([t.slaves for t in constraints.ties])
    masters = np.concatenate([t.masters for t in constraints.ties])
    factors = np.concatenate([np.full(len(t.slaves), t.factor) for t in constraints.ties])
    return slaves, masters, factors


def _global_dofs(problem: Problem, x: PETSc.Vec) -> IntArray:
    """First global unknown (component 0) of the displacement at each body node."""
    space = problem.spaces[0]
    owned = space.dofmap.index_map.size_local
    low, _ = x.getOwnershipRange()
    mine = np.full(len(problem.model.body.points), -1, dtype=np.int64)
    mine[problem.node_of_dof[:owned]] = low + space.dofmap.index_map_bs * np.arange(owned)
    every = np.empty_like(mine)
    problem.comm.Allreduce(mine, every, op=MPI.MAX)
    return every
