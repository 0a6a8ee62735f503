# SPDX-License-Identifier: MIT
"""The blocks (u, p[, φ]) of vectors laid out like the unknowns."""

import math

import numpy as np
from mpi4py import MPI
from petsc4py import PETSc

from annelid.geometry.body import FloatArray

DISPLACEMENT, PRESSURE, POTENTIAL = range(3)


class Blocks:
    """Where the blocks of a vector of unknowns are on this rank.

    Args:
        unknowns: Vector made for the spaces of a problem.
        comm: Communicator of the problem.
    """

    def __init__(self, unknowns: PETSc.Vec, comm: MPI.Comm) -> None:
        self._offsets = unknowns.getAttr("_blocks")[0]
        self._comm = comm

    def part(self, vector: PETSc.Vec, block: int) -> FloatArray:
        """Owned entries of one block, read only."""
        return np.asarray(vector.array_r[self._slice(block)])

    def set_part(self, vector: PETSc.Vec, block: int, values: FloatArray) -> None:
        """Write the owned entries of one block."""
        vector.array_w[self._slice(block)] = values

    def norms(self, vector: PETSc.Vec) -> tuple[float, ...]:
        """Euclidean norm of each block; collective."""
        parts = (self.part(vector, block) for block in range(len(self._offsets) - 1))
        squares = [float(a @ a) for a in parts]
        return tuple(math.sqrt(float(self._comm.allreduce(s, op=MPI.SUM))) for s in squares)

    def largest_motion(self, vector: PETSc.Vec) -> float:
        """Largest displacement component of a vector, mm; collective."""
        largest = float(np.abs(self.part(vector, DISPLACEMENT)).max(initial=0.0))
        return float(self._comm.allreduce(largest, op=MPI.MAX))

    def _slice(self, block: int) -> slice:
        return slice(self._offsets[block], self._offsets[block + 1])
