# SPDX-License-Identifier: MIT
"""What each row or column of elements adds to a residual on a mesh on which its elements are halved."""

from collections.abc import Iterator, Sequence

import numpy as np
from numpy.typing import NDArray

from annelid.geometry.body import FloatArray, IntArray
from annelid.solver.adaptivity.prolongation import grid_of, node_lookup, quadratic, split
from annelid.solver.energy.problem import Problem

__all__ = ["RowShares"]

_PRESSURE = 1  # number of its block


class RowShares:
    """Splits residuals of the solution on a mesh into what its rows or columns add, on one rank.

    The residual vanishes on the functions of that mesh. Each node between those of the mesh therefore counts
    with its own function less the interpolation of that on the mesh.

    Args:
        fine: The problem with halved elements.
        direction: In which they are halved: 0 through the wall (columns), 1 along it (rows).
    """

    def __init__(self, fine: Problem, direction: int) -> None:
        self._fine = fine
        grid, number = grid_of(fine), node_lookup(grid_of(fine))
        step = np.eye(2, dtype=np.int64)[direction]
        new = np.flatnonzero(grid[:, direction] % 2)
        place = grid[new, direction]
        low = grid[new] - (place % 4)[:, None] * step
        dof = np.argsort(fine.node_of_dof)
        self._new = dof[new]
        self._row = place // 4
        self._weights = quadratic((place % 4) / 2)
        self._old = np.column_stack([dof[number[tuple((low + 2 * k * step).T)]] for k in range(3)])
        cells = grid[fine.model.body.cells].min(axis=1)[:, direction] // 4
        self._pressures = fine.spaces[_PRESSURE].dofmap.list
        self._cell_row = cells[fine.mesh.original_cells]
        self.rows = int(cells.max()) + 1
        low_row = (grid[fine.node_of_dof, direction] - 1) // 4
        high_row = grid[fine.node_of_dof, direction] // 4
        self._beside = np.clip(np.column_stack([low_row, high_row]), 0, self.rows - 1)

    def works(self, residual: FloatArray, direction: FloatArray) -> FloatArray:
        """Return the product of what each row adds to a residual with a vector, shape (rows,)."""
        total = np.zeros(self.rows)
        blocks = zip(split(residual, self._fine), split(direction, self._fine), strict=True)
        for block, (r, v) in enumerate(blocks):
            if block == _PRESSURE:
                products = (r * v)[self._pressures, 0].sum(axis=1)
                total += np.bincount(self._cell_row, products, minlength=self.rows)
                continue
            beyond = v[self._new] - np.einsum("ik,ikc->ic", self._weights, v[self._old])
            total += np.bincount(self._row, (r[self._new] * beyond).sum(axis=1), minlength=self.rows)
            left = (self._left(r) * v).sum(axis=1)
            for rows in self._beside.T:
                total += np.bincount(rows, left / 2, minlength=self.rows)
        return total

    def of_rows(self, residual: FloatArray, rows: Sequence[int]) -> FloatArray:
        """Return what some rows add to a residual, laid out like it."""
        wanted: NDArray[np.bool_] = np.zeros(self.rows, dtype=bool)
        wanted[list(rows)] = True
        return np.concatenate([share.ravel() for share in self._shares(residual, wanted)])

    def _left(self, part: FloatArray) -> FloatArray:
        """Residual on the functions of the mesh by dof: of its own rule of quadrature, else it is zero."""
        left = part.copy()
        left[self._new] = 0.0
        for k in range(3):
            np.add.at(left, self._old[:, k], self._weights[:, k, None] * part[self._new])
        return left

    def _shares(self, residual: FloatArray, wanted: NDArray[np.bool_]) -> Iterator[FloatArray]:
        mine = wanted[self._row]
        for block, part in enumerate(split(residual, self._fine)):
            share = np.zeros_like(part)
            if block == _PRESSURE:
                dofs: IntArray = self._pressures[wanted[self._cell_row]]
                share[dofs] = part[dofs]
            else:
                own = part[self._new[mine]]
                share[self._new[mine]] = own
                for k in range(3):
                    np.subtract.at(share, self._old[mine, k], self._weights[mine, k, None] * own)
                share += self._left(part) * wanted[self._beside].mean(axis=1, keepdims=True)
            yield share
