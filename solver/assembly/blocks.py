# SPDX-License-Identifier: MIT
"""Norms of the blocks (u, p[, φ]) of vectors laid out like the unknowns."""

import math
from itertools import pairwise

import numpy as np
from mpi4py import MPI
from petsc4py import PETSc


class Blocks:
    """Where the blocks of a vector of unknowns lie on this rank.

    Args:
        unknowns: Vector made for the spaces of a problem.
        comm: Communicator of the problem.
    """

    def __init__(self, unknowns: PETSc.Vec, comm: MPI.Comm) -> None:
        self._offsets = unknowns.getAttr("_blocks")[0]
        self._comm = comm

    def norms(self, vector: PETSc.Vec) -> tuple[float, ...]:
        """Euclidean norm of each block; collective."""
        a = vector.array_r
        squares = [float(a[i:j] @ a[i:j]) for i, j in pairwise(self._offsets)]
        return tuple(math.sqrt(float(self._comm.allreduce(s, op=MPI.SUM))) for s in squares)

    def largest_motion(self, vector: PETSc.Vec) -> float:
        """Largest displacement component of a vector, mm; collective."""
        mine = float(np.abs(vector.array_r[: self._offsets[1]]).max(initial=0.0))
        return float(self._comm.allreduce(mine, op=MPI.MAX))
