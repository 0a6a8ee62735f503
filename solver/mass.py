# SPDX-License-Identifier: MIT
"""Mass of unit density on the displacement: L2 products of states, and the drag of a relaxation."""

from functools import cached_property

import dolfinx_solver  # noqa: F401  (orders MPI ahead of the bindings)

import ufl
from dolfinx import fem
from dolfinx.fem import petsc as fem_petsc
from petsc4py import PETSc

from solver import forms
from solver.problem import Problem

_DEGREE = 4  # exact for products of quadratics on straight cells


class Mass:
    """∫ u·v dX of the displacement parts of vectors laid out like the unknowns.

    Args:
        problem: For the spaces.
        bcs: Conditions at whose unknowns the drag vanishes.
    """

    def __init__(self, problem: Problem, bcs: list[fem.DirichletBC]) -> None:
        self._problem = problem
        self._bcs = bcs
        space = problem.spaces[0]
        self._owned = space.dofmap.index_map.size_local * space.dofmap.index_map_bs
        u, v = ufl.TrialFunction(space), ufl.TestFunction(space)
        self._matrix = fem_petsc.assemble_matrix(
            forms.compile_forms(ufl.inner(u, v) * problem.weight * self._dx())
        )
        self._matrix.assemble()
        self._in, self._out = self._matrix.createVecs()

    def product(self, vector: PETSc.Vec, out: PETSc.Vec) -> None:
        """Write M u of the displacement part u of a vector to ``out``, other blocks zero."""
        out.set(0.0)
        self._in.array_w[:] = vector.array_r[: self._owned]
        self._matrix.mult(self._in, self._out)
        out.array_w[: self._owned] = self._out.array_r

    @cached_property
    def drag(self) -> PETSc.Mat:
        """M laid out like the tangent, zero at fixed unknowns and in the other blocks."""
        spaces = self._problem.spaces
        blocks: list = [[None] * len(spaces) for _ in spaces]
        for i, V in enumerate(spaces):
            u, v = ufl.TrialFunction(V), ufl.TestFunction(V)
            factor = fem.Constant(self._problem.mesh.domain, 1.0 if i == 0 else 0.0)
            blocks[i][i] = forms.compile_forms(factor * ufl.inner(u, v) * self._problem.weight * self._dx())
        matrix = fem_petsc.assemble_matrix(blocks, bcs=self._bcs, diag=0.0)
        matrix.assemble()
        return matrix

    def _dx(self) -> ufl.Measure:
        return ufl.dx(self._problem.mesh.domain, metadata={"quadrature_degree": _DEGREE})
