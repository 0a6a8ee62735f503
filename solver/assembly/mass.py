# SPDX-License-Identifier: MIT
"""Mass of unit density on the displacement for L2 products of states, and the drag of a relaxation.

The drag is that of a viscous solid, ∫ Grad u : Grad v dX. A drag on the motion itself would let short waves
grow ahead of long ones: a film that pulls in would crumple instead of spreading.
"""

from functools import cached_property

import numpy as np
import ufl
from dolfinx import fem
from dolfinx.fem import petsc as fem_petsc
from petsc4py import PETSc

from annelid.solver.energy import forms
from annelid.solver.energy.problem import Problem

_DEGREE = 4  # exact for products of quadratics on straight cells
_DRIFT = 1e-6  # drag on rigid motion, small enough to leave an even stretch even


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
            forms.compile_forms(ufl.inner(u, v) * problem.revolution * self._dx())
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
        """Viscous drag, mm, laid out like the tangent, zero at fixed unknowns and in the other blocks."""
        problem = self._problem
        spaces = problem.spaces
        blocks: list = [[None] * len(spaces) for _ in spaces]
        for i, V in enumerate(spaces):
            u, v = ufl.TrialFunction(V), ufl.TestFunction(V)
            density = self._viscous(u, v) if i == 0 else self._constant(0.0) * ufl.inner(u, v)
            blocks[i][i] = forms.compile_forms(density * problem.revolution * self._dx())
        matrix = fem_petsc.assemble_matrix(blocks, bcs=self._bcs, diag=0.0)
        matrix.assemble()
        return matrix

    def _viscous(self, u: ufl.core.expr.Expr, v: ufl.core.expr.Expr) -> ufl.core.expr.Expr:
        problem = self._problem
        size = float(np.ptp(problem.model.body.points, axis=0).max())
        rates = (problem.gradient(w, linear=True) for w in (u, v))
        return ufl.inner(*rates) + self._constant(_DRIFT / size**2) * ufl.inner(u, v)

    def _constant(self, value: float) -> fem.Constant:
        return fem.Constant(self._problem.mesh.domain, value)

    def _dx(self) -> ufl.Measure:
        return ufl.dx(self._problem.mesh.domain, metadata={"quadrature_degree": _DEGREE})
