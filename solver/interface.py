# SPDX-License-Identifier: MIT
"""Where the equations of several ranks meet: the unknowns between them, and the block of each."""

from dataclasses import dataclass

import dolfinx_solver  # noqa: F401  (orders MPI ahead of the bindings)

import numpy as np
from mpi4py import MPI
from numpy.typing import NDArray
from petsc4py import PETSc

from geometry.body import FloatArray, IntArray


@dataclass(frozen=True)
class Pattern:
    """Places of the entries of a distributed matrix in this rank's rows, row by row.

    Attributes:
        rows: Row of each entry, global.
        columns: Column of each entry, global, ascending in a row.
        first: First row of this rank.
        last: One past its last row.
        size: Unknowns of all ranks.
    """

    rows: IntArray
    columns: IntArray
    first: int
    last: int
    size: int


def pattern_of(matrix: PETSc.Mat) -> Pattern:
    """Places of the entries of a distributed matrix."""
    first, last = matrix.getOwnershipRange()
    starts, columns, _ = matrix.getValuesCSR()
    rows = np.repeat(np.arange(first, last, dtype=columns.dtype), np.diff(starts))
    return Pattern(rows, columns, first, last, matrix.getSize()[0])


def interface_of(pattern: Pattern, comm: MPI.Comm) -> IntArray:
    """Unknowns without which no rank's equations know those of another; collective.

    Of every two coupled unknowns of different ranks the one with more such couplings is taken: a node on the
    cut meets all unknowns of the cells behind it, and each of these but the few nodes of the cut.

    Args:
        pattern: Of the matrix; symmetric over all ranks.
        comm: The ranks.

    Returns:
        Global numbers, sorted, the same on all ranks.
    """
    across = (pattern.columns < pattern.first) | (pattern.columns >= pattern.last)
    rows, columns = pattern.rows[across], pattern.columns[across]
    mine = np.zeros(pattern.size, dtype=np.int64)
    mine[pattern.first : pattern.last] = np.bincount(
        rows - pattern.first, minlength=pattern.last - pattern.first
    )
    couplings = np.empty_like(mine)
    comm.Allreduce(mine, couplings, op=MPI.SUM)
    own, other = couplings[rows], couplings[columns]
    busier = np.where((own > other) | ((own == other) & (rows < columns)), rows, columns)
    return np.unique(np.concatenate(comm.allgather(np.unique(busier))))


class Block:
    """The equations of one rank: A inside it, and the couplings b to the interface, as [A, b; bᵀ, 0].

    Args:
        pattern: Of the distributed matrix.
        interface: From ``interface_of``.

    Attributes:
        matrix: [A, b; ., 0] of this rank alone, its upper triangle.
        inside: Positions of the unknowns of A among the rank's own.
        border: Positions in the interface of the unknowns of b.
        own: Positions among the rank's own of the interface unknowns that it owns.
        held: Positions in the interface of the same.
    """

    def __init__(self, pattern: Pattern, interface: IntArray) -> None:
        between = np.zeros(pattern.size, dtype=bool)
        between[interface] = True
        mine = between[pattern.first : pattern.last]
        self.inside, self.own = np.flatnonzero(~mine), np.flatnonzero(mine)
        self.held = np.searchsorted(interface, pattern.first + self.own)
        row_between, column_between = between[pattern.rows], between[pattern.columns]
        touched = np.unique(pattern.columns[~row_between & column_between])
        self.border = np.searchsorted(interface, touched)
        self._among = np.flatnonzero(row_between & column_between)
        self._at = tuple(
            np.searchsorted(interface, part[self._among]) for part in (pattern.rows, pattern.columns)
        )
        self._shape = (len(interface), len(interface))
        place = np.full(pattern.size, -1, dtype=np.int64)
        place[pattern.first + self.inside] = np.arange(len(self.inside))
        place[touched] = len(self.inside) + np.arange(len(touched))
        self._lay_out(place[pattern.rows], place[pattern.columns], ~row_between)

    def _lay_out(self, rows: IntArray, columns: IntArray, inside: NDArray[np.bool_]) -> None:
        size = len(self.inside) + len(self.border)
        kept = np.flatnonzero(inside & (columns >= rows))
        self._source = kept[np.argsort(rows[kept] * size + columns[kept], kind="stable")]
        corner = np.arange(len(self.inside), size)  # a diagonal of zeros on the border
        starts = np.searchsorted(rows[self._source], np.arange(size + 1))
        starts[len(self.inside) :] += np.arange(len(corner) + 1)
        self._values = np.zeros(len(self._source) + len(corner))
        layout = [starts, np.concatenate([columns[self._source], corner])]
        csr = (*(part.astype(PETSc.IntType) for part in layout), self._values)
        self.matrix = PETSc.Mat().createAIJWithArrays((size, size), csr, comm=PETSc.COMM_SELF)
        self.matrix.setOption(PETSc.Mat.Option.SYMMETRIC, True)

    def take(self, matrix: PETSc.Mat) -> FloatArray:
        """Take the values of a matrix; returns this rank's rows of the interface's own block."""
        values = matrix.getValuesCSR()[2]
        np.take(values, self._source, out=self._values[: len(self._source)])
        self.matrix.assemble()
        C = np.zeros(self._shape)
        C[self._at] = values[self._among]
        return C

    def largest(self) -> float:
        """Largest entry of [A, b]."""
        return float(np.abs(self._values).max(initial=0.0))
