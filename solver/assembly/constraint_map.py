# SPDX-License-Identifier: MIT
"""Ties between unknowns as a sparse map x = T q, so that K becomes TᵀKT."""

from dataclasses import dataclass

import numpy as np
from mpi4py import MPI
from petsc4py import PETSc

from annelid.geometry.body import IntArray
from annelid.geometry.errors import InputError
from annelid.solver.assembly.constraints import Constraints
from annelid.solver.energy.problem import Problem


@dataclass
class Ties:
    """The map of the independent unknowns q to all unknowns x, with work vectors.

    The last entries of q are the shared unknowns.

    Attributes:
        T: Sparse map, shape (x, q).
        rhs: Work vector of the size of q.
        solution: Work vector of the size of q.
        folded: Work vector of the size of x.
        own: Positions in x of the independent unknowns.
        spare: Positions in x where shared unknowns are noted when q is spread: slaves.
    """

    T: PETSc.Mat
    rhs: PETSc.Vec
    solution: PETSc.Vec
    folded: PETSc.Vec
    own: IntArray
    spare: IntArray

    def spread(self, q: PETSc.Vec, x: PETSc.Vec) -> None:
        """Write q at the independent unknowns of x, zero at the slaves but the first few."""
        x.set(0.0)
        x.array_w[self.own] = q.array_r[: len(self.own)]
        x.array_w[self.spare] = q.array_r[len(self.own) :]

    def hold(self, x: PETSc.Vec) -> None:
        """Put the slaves of x back where their masters want them.

        Newton's method does not see how far they are off, and predictions multiply rounding at every step.
        Where unknowns are shared x does not hold them all, and is left as it is.
        """
        if len(self.spare):
            return
        self.solution.array_w[:] = x.array_r[self.own]
        self.T.mult(self.solution, x)


def tie_matrix(problem: Problem, x: PETSc.Vec, constraints: Constraints) -> Ties | None:
    """Build T for the ties of a model; ``None`` when there are none. Collective.

    Raises:
        InputError: Shared unknowns on several ranks.
    """
    if not constraints.ties:
        return None
    comm = problem.comm
    if constraints.shared and comm.size > 1:
        raise InputError("a unit cell is solved on one rank; leave out --ranks", key="ranks")
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
    local = (slave_dofs >= low) & (slave_dofs < high)
    rows = [low + own, slave_dofs[local]]
    cols = [columns[low + own], columns[master_dofs[local]]]
    data = [np.ones(len(own)), factors[local]]
    for k, shared in enumerate(constraints.shared):
        rows.append(dof_of[shared.rows[:, 0]] + shared.rows[:, 1])
        cols.append(np.full(len(shared.rows), len(own) + k))
        data.append(shared.factors)
    count = len(own) + len(constraints.shared)
    T = _sparse(comm, (high - low, low), count, [np.concatenate(part) for part in (rows, cols, data)])
    solution, folded = T.createVecs()
    spare = np.flatnonzero(~free)[: len(constraints.shared)]
    return Ties(T, solution.duplicate(), solution, folded, own, spare)


def _sparse(
    comm: MPI.Comm, rows_here: tuple[int, int], columns_here: int, entries: list[np.ndarray]
) -> PETSc.Mat:
    """A matrix of the given (row, column, value) entries of this rank's rows."""
    count, first = rows_here
    row, column, value = entries
    sort = np.lexsort((column, row))
    starts = np.searchsorted(row[sort], first + np.arange(count + 1))
    T = PETSc.Mat().createAIJ(((count, None), (columns_here, None)), comm=comm)
    T.setPreallocationCSR(
        (starts.astype(PETSc.IntType), column[sort].astype(PETSc.IntType), value[sort].astype(np.float64))
    )
    T.assemble()
    return T


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
