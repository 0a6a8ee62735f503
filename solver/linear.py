# SPDX-License-Identifier: MIT
"""Symmetric LDLᵀ factorisation, its solves and its inertia, on one rank or several."""

from dataclasses import dataclass

import dolfinx_solver  # noqa: F401  (orders MPI ahead of the bindings)

from mpi4py import MPI
from petsc4py import PETSc

from solver.interface import Block, interface_of, pattern_of
from solver.mumps import Mumps
from solver.substructure import Substructured

# Measured at 45,000 unknowns on meridians: with 42 unknowns between two ranks a factorisation takes 0.65 and
# a solve 0.5 of the time that MUMPS takes as a whole; with 240 the factorisations take the same. Solids have
# 500 and more.
_LARGEST_INTERFACE = 200


@dataclass
class Count:
    """How often the expensive operations were done."""

    factorisations: int = 0
    solves: int = 0
    tangents: int = 0
    residuals: int = 0


class Factor:
    """LDLᵀ factor of one matrix; refactorised in place, pattern kept.

    Several ranks with few unknowns between them work by substructuring, else MUMPS works on all of them.

    Attributes:
        count: Tally of factorisations and solves.
    """

    def __init__(self, comm: PETSc.Comm, size: int, dimension: int, count: Count) -> None:
        self.count = count
        self._dimension = dimension
        self._whole = Mumps(comm, size, dimension)
        self._divided: Substructured | None = None
        self._undecided = comm.size > 1

    @property
    def substructured(self) -> bool:
        """Whether the matrix factorised last was so by substructuring."""
        return self._divided is not None

    def factorise(self, matrix: PETSc.Mat) -> None:
        """Factorise a symmetric matrix (only half of it is read); collective.

        Raises:
            NoEquilibrium: The factorisation failed (singular to working precision, or out of memory).
        """
        self.count.factorisations += 1
        if self._undecided:
            self._undecided = False
            self._divided = self._divide(matrix)
        if self._divided is not None:
            if self._divided.factorise(matrix):
                return
            self._divided.destroy()  # from now on MUMPS as a whole: a path is likely to stay where it failed
            self._divided = None
        self._whole.factorise(matrix)

    def _divide(self, matrix: PETSc.Mat) -> Substructured | None:
        comm = matrix.getComm().tompi4py()
        pattern = pattern_of(matrix)
        interface = interface_of(pattern, comm)
        if len(interface) > _LARGEST_INTERFACE:
            return None
        block = Block(pattern, interface)
        fewest = comm.allreduce(min(len(block.inside), len(block.border)), op=MPI.MIN)
        return Substructured(block, len(interface), self._dimension, comm) if fewest else None

    def solve(self, rhs: PETSc.Vec, out: PETSc.Vec) -> None:
        """Out = K⁻¹ rhs with the matrix factorised last; collective."""
        self.count.solves += 1
        (self._divided or self._whole).solve(rhs, out)

    def negative_pivots(self) -> int:
        """Number of negative eigenvalues of the factorised matrix (Sylvester's law of inertia)."""
        return (self._divided or self._whole).negative_pivots()

    def destroy(self) -> None:
        """Free the factor's memory."""
        for factor in (self._whole, self._divided):
            if factor is not None:
                factor.destroy()
