# SPDX-License-Identifier: MIT
"""Linear constraints between unknowns as a sparse map x = T q, so that K becomes TᵀKT."""

from dataclasses import dataclass

import numpy as np
from mpi4py import MPI
from petsc4py import PETSc

from annelid.geometry.body import IntArray
from annelid.geometry.errors import InvalidValue
from annelid.solver.constraints.constraints import Constraints
from annelid.solver.energy.problem import Problem


@dataclass
class ConstraintMap:
    """The map of the independent unknowns q to all unknowns x, with work vectors.

    The last entries of q are the shared unknowns.

    Attributes:
        T: Sparse map, shape (x, q).
        rhs: Work vector of the size of q.
        solution: Work vector of the size of q.
        folded: Work vector of the size of x.
        own: Positions in x of the independent unknowns.
        spare: Positions in x, of dependent unknowns, at which ``spread`` writes the shared unknowns.
    """

    T: PETSc.Mat
    rhs: PETSc.Vec
    solution: PETSc.Vec
    folded: PETSc.Vec
    own: IntArray
    spare: IntArray

    def fold(self, vector: PETSc.Vec) -> PETSc.Vec:
        """Tᵀ times a residual-like vector, laid out like x; a work vector."""
        self.T.multTranspose(vector, self.rhs)
        self.spread(self.rhs, self.folded)
        return self.folded

    def spread(self, q: PETSc.Vec, x: PETSc.Vec) -> None:
        """Write q at the independent unknowns of x, shared unknowns at ``spare``, zero elsewhere."""
        x.set(0.0)
        x.array_w[self.own] = q.array_r[: len(self.own)]
        x.array_w[self.spare] = q.array_r[len(self.own) :]

    def enforce(self, x: PETSc.Vec) -> None:
        """Give the dependent unknowns of x the values that the constraints demand.

        Newton's method does not see their error, and predictions multiply rounding at every step. With shared
        unknowns x does not contain them all, and is left as it is.
        """
        if len(self.spare):
            return
        self.solution.array_w[:] = x.array_r[self.own]
        self.T.mult(self.solution, x)


def constraint_map(problem: Problem, x: PETSc.Vec, constraints: Constraints) -> ConstraintMap | None:
    """Build T for the linear constraints of a model; ``None`` when there are none. Collective.

    Raises:
        InvalidValue: Shared unknowns on several ranks.
    """
    if not constraints.linear:
        return None
    comm = problem.comm
    if constraints.shared and comm.size > 1:
        raise InvalidValue("a unit cell is solved on one rank: leave it out", key="ranks")
    fixed = {(int(n), f.component) for f in constraints.fixed for n in f.nodes}
    dependent, independent, factors = _pairs(constraints)
    keep = np.array([tuple(pair) not in fixed for pair in dependent.tolist()], dtype=bool)
    dependent, independent, factors = dependent[keep], independent[keep], factors[keep]
    dof_of = _global_dofs(problem, x)
    dependent_dofs, independent_dofs = (
        dof_of[pairs[:, 0]] + pairs[:, 1] for pairs in (dependent, independent)
    )
    low, high = x.getOwnershipRange()
    free = np.ones(high - low, dtype=bool)
    free[dependent_dofs[(dependent_dofs >= low) & (dependent_dofs < high)] - low] = False
    own = np.flatnonzero(free)
    start = comm.exscan(len(own), op=MPI.SUM) or 0
    columns = np.full(x.getSize(), -1, dtype=np.int64)
    mine = np.full(x.getSize(), -1, dtype=np.int64)
    mine[low + own] = start + np.arange(len(own))
    comm.Allreduce(mine, columns, op=MPI.MAX)
    local = (dependent_dofs >= low) & (dependent_dofs < high)
    rows = [low + own, dependent_dofs[local]]
    cols = [columns[low + own], columns[independent_dofs[local]]]
    data = [np.ones(len(own)), factors[local]]
    for k, shared in enumerate(constraints.shared):
        rows.append(dof_of[shared.rows[:, 0]] + shared.rows[:, 1])
        cols.append(np.full(len(shared.rows), len(own) + k))
        data.append(shared.factors)
    count = len(own) + len(constraints.shared)
    T = _sparse(comm, (high - low, low), count, [np.concatenate(part) for part in (rows, cols, data)])
    solution, folded = T.createVecs()
    spare = np.flatnonzero(~free)[: len(constraints.shared)]
    return ConstraintMap(T, solution.duplicate(), solution, folded, own, spare)


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
    dependent = np.concatenate([c.dependent for c in constraints.linear])
    independent = np.concatenate([c.independent for c in constraints.linear])
    factors = np.concatenate([np.full(len(c.dependent), c.factor) for c in constraints.linear])
    return dependent, independent, factors


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
