# SPDX-License-Identifier: MIT
"""LDLᵀ on several ranks by substructuring: each eliminates its own unknowns, the few between them come last.

    [A1        b1 ]                       S = C - Σ biᵀ Ai⁻¹ bi
    [      A2  b2 ]   = K                 y = S⁻¹ (g - Σ biᵀ Ai⁻¹ fi)
    [b1ᵀ   b2ᵀ C  ]                       xi = Ai⁻¹ (fi - bi y)

A1 and A2 hold the unknowns inside the ranks, C those of the interface. S is dense and on every rank, so that
a factorisation exchanges one small matrix and a solve one short vector. The inertia of K is that of A1, A2
and S together (E. V. Haynsworth, 1968).
"""

import math

import dolfinx_solver  # noqa: F401  (orders MPI ahead of the bindings)

import numpy as np
from mpi4py import MPI
from petsc4py import PETSc

from geometry.body import FloatArray
from solver.errors import NoEquilibrium
from solver.interface import Block
from solver.schur import CondensedMumps

# A block that is nearly singular by itself, while K is not, makes a huge complement in which C drowns. Sound
# ones stay below the entries they are made from.
_GROWTH = 1e5


class Substructured:
    """LDLᵀ factor of one distributed matrix; refactorised in place, pattern kept.

    Args:
        block: This rank's part of the matrix.
        between: Unknowns of the interface, how many.
        dimension: Of the mesh.
        comm: The ranks.
    """

    def __init__(self, block: Block, between: int, dimension: int, comm: MPI.Comm) -> None:
        self._comm = comm
        self._block = block
        size = self._block.matrix.getSize()[0]
        self._factor = CondensedMumps(size, len(self._block.border), dimension, self._interface_values)
        self._f, self._x = self._block.matrix.createVecs()
        self._g = np.zeros(between)
        self._y = np.zeros(between)
        self._inverse = np.zeros((0, 0))
        self._negative = 0

    def factorise(self, matrix: PETSc.Mat) -> bool:
        """Factorise; collective.

        Returns:
            Whether it could be done: not where the unknowns inside a rank are singular by themselves.
        """
        S = self._block.take(matrix)
        S[np.ix_(self._block.border, self._block.border)] += self._complement()
        self._comm.Allreduce(MPI.IN_PLACE, S, op=MPI.SUM)
        self._comm.Bcast(S)  # the very same everywhere, so that all ranks decide alike
        if not np.all(np.isfinite(S)):
            return False
        λ, Q = np.linalg.eigh(S)
        if np.abs(λ).min() <= np.finfo(float).eps * np.abs(λ).max():
            return False
        self._inverse = (Q / λ) @ Q.T
        self._negative = self._comm.allreduce(self._factor.negative_pivots()) + int(np.sum(λ < 0))
        return True

    def _complement(self) -> FloatArray | float:
        """-biᵀ Ai⁻¹ bi of this rank; not a number if Ai is singular or nearly so."""
        try:
            self._factor.factorise(self._block.matrix)
        except NoEquilibrium:
            return math.nan
        complement = self._factor.complement()
        sound = np.abs(complement).max(initial=0.0) < _GROWTH * self._block.largest()
        return complement if sound and not self._factor.null_pivots() else math.nan

    def solve(self, rhs: PETSc.Vec, out: PETSc.Vec) -> None:
        """Out = K⁻¹ rhs with the matrix factorised last; collective."""
        block, inside = self._block, len(self._block.inside)
        self._f.array_w[:inside] = rhs.array_r[block.inside]
        self._g[block.held] = rhs.array_r[block.own]
        self._factor.solve(self._f, self._x)
        out.array_w[block.inside] = self._x.array_r[:inside]
        out.array_w[block.own] = self._y[block.held]

    def _interface_values(self, condensed: FloatArray) -> FloatArray:
        """Values of the unknowns of bi, from -biᵀ Ai⁻¹ fi of this rank."""
        g = self._g.copy()
        g[self._block.border] += condensed
        self._comm.Allreduce(MPI.IN_PLACE, g, op=MPI.SUM)
        self._y = self._inverse @ g
        return self._y[self._block.border]

    def negative_pivots(self) -> int:
        """Number of negative eigenvalues of the factorised matrix."""
        return self._negative

    def destroy(self) -> None:
        """Free the factor's memory."""
        self._factor.destroy()
        self._block.matrix.destroy()
