# SPDX-License-Identifier: MIT
"""States carried from a mesh of rows and columns to the same mesh with its rows or columns divided."""

from functools import cached_property

import numpy as np

from annelid.geometry.body import FloatArray, IntArray
from annelid.solver.energy.problem import Problem
from annelid.solver.energy.spaces import pressure_element


class Prolongation:
    """The interpolation of unknowns from a mesh to a finer one, on one rank.

    Args:
        coarse: A problem; its body has a grid.
        fine: The same problem, each of whose elements is a piece of one of the coarse mesh.
        pieces: Pieces of an element through the wall and along it.
    """

    def __init__(self, coarse: Problem, fine: Problem, pieces: tuple[int, int]) -> None:
        self._coarse, self._fine = coarse, fine
        self._pieces = np.array(pieces)
        body, grid = fine.model.body, grid_of(fine)
        corner = grid[body.cells].min(axis=1) // 2
        self._parent = _cell_lookup(coarse)[tuple((corner // self._pieces).T)]

    def carried(self, x: FloatArray) -> FloatArray:
        """Return the unknowns on the finer mesh of unknowns laid out like those of the coarse one."""
        u, p, *φ = split(x, self._coarse)
        out = [self._nodal(u), self._pressures(p), *(self._nodal(f) for f in φ)]
        return np.concatenate([part.ravel() for part in out])

    def _nodal(self, values: FloatArray) -> FloatArray:
        """Quadratic fields by dof of the coarse mesh, shape (dofs, k), at those of the finer one."""
        coarse, fine = self._coarse, self._fine
        by_node = np.empty_like(values)
        by_node[coarse.node_of_dof] = values
        grid, cells = grid_of(fine), fine.model.body.cells
        low = grid_of(coarse)[coarse.model.body.cells].min(axis=1)[self._parent]
        place = grid[cells] / self._pieces - low[:, None]  # of 0 to 2 in the parent
        across, along = quadratic(place[..., 0]), quadratic(place[..., 1])
        nodes = self._coarse_nodes[
            low[:, 0, None, None] + np.arange(3)[:, None], low[:, 1, None, None] + np.arange(3)
        ]
        found = np.einsum("cka,ckb,cabi->cki", across, along, by_node[nodes], optimize=True)
        out = np.empty((len(grid), values.shape[1]))
        out[cells] = found
        return out[fine.node_of_dof]

    @cached_property
    def _coarse_nodes(self) -> IntArray:
        return node_lookup(grid_of(self._coarse))

    def _pressures(self, p: FloatArray) -> FloatArray:
        """Linear pressures of cells, shape (dofs, 1), on the pieces of these cells."""
        element = pressure_element(self._fine.mesh.domain.basix_cell()).basix_element
        origin, axes = _frames(self._fine)
        parents = np.empty(len(self._parent), dtype=np.int64)
        parents[:] = self._local[self._parent[self._fine.mesh.original_cells]]
        low, sides = (frame[parents] for frame in _frames(self._coarse))
        place = (origin[:, None] + np.einsum("qi,cij->cqj", element.points, axes)) / self._pieces - low[
            :, None
        ]
        place = np.einsum("cqj,cij->cqi", place, sides / (sides**2).sum(axis=2, keepdims=True))
        basis = element.tabulate(0, np.array([[0.0, 0.0], [1.0, 0.0], [0.0, 1.0]]))[0, :, :, 0]
        shapes = basis[0] + np.einsum("cqi,ia->cqa", place, basis[1:] - basis[0])
        values = np.einsum("cqa,ca->cq", shapes, p[self._coarse.spaces[1].dofmap.list[parents], 0])
        out = np.empty(self._fine.spaces[1].dofmap.index_map.size_local)
        out[self._fine.spaces[1].dofmap.list] = values @ element.interpolation_matrix.T
        return out

    @cached_property
    def _local(self) -> IntArray:
        """Local cell number of each cell of the coarse body."""
        return self._coarse.mesh.local_of


def split(x: FloatArray, problem: Problem) -> list[FloatArray]:
    """Blocks of a vector laid out like the unknowns, each of shape (dofs, components); on one rank."""
    parts, start = [], 0
    for V in problem.spaces:
        width = V.dofmap.index_map_bs
        size = V.dofmap.index_map.size_local * width
        parts.append(x[start : start + size].reshape(-1, width))
        start += size
    return parts


def grid_of(problem: Problem) -> IntArray:
    """Places of the nodes of a problem's body in rows and columns, in half elements."""
    grid = problem.model.body.grid
    assert grid is not None
    return grid


def quadratic(t: FloatArray) -> FloatArray:
    """Quadratic shape functions of nodes at 0, 1 and 2, shape (..., 3)."""
    return np.stack([(1 - t) * (2 - t) / 2, t * (2 - t), t * (t - 1) / 2], axis=-1)


def node_lookup(grid: IntArray) -> IntArray:
    """Numbers of the nodes by their place, -1 where there is none."""
    number = np.full(grid.max(axis=0) + 1, -1, dtype=np.int64)
    number[tuple(grid.T)] = np.arange(len(grid))
    return number


def _cell_lookup(problem: Problem) -> IntArray:
    body = problem.model.body
    return node_lookup(grid_of(problem)[body.cells].min(axis=1) // 2)


def _frames(problem: Problem) -> tuple[FloatArray, FloatArray]:
    """Grid place of the reference origin of each local cell, and of its two reference axes."""
    mesh = problem.mesh
    corners = grid_of(problem)[mesh.body.cells[mesh.original_cells][:, mesh.order[:3]]].astype(float)
    return corners[:, 0], corners[:, 1:] - corners[:, :1]
