# SPDX-License-Identifier: MIT
"""Second derivatives of the density of the potential at the integration points."""

import basix.ufl
import numpy as np
import ufl
from dolfinx import fem
from dolfinx.fem import petsc as fem_petsc
from mpi4py import MPI
from numpy.typing import NDArray
from ufl.core.expr import Expr

from annelid.geometry.body import FloatArray
from annelid.solver.energy import forms
from annelid.solver.harmonics.amplitudes import PerturbedProblem


class StateModuli:
    """H = ∂²W/∂x∂x of the density W in x = (F, p[, E0]) as data: one form of the amplitudes serves all laws.

    A form of a law in the amplitudes has these derivatives for each pair of their shape functions, and takes
    two to four times as long to compile. Here the arguments of the form are the components of x: tests at
    the integration points, and trials that are constant in a cell.

    Where a wall folds, its D is a further component of x and follows the others: with its response M

        H = ∂²W/∂x∂x - (∂²W/∂x∂D) M (∂²W/∂D∂x),

    in which D may also turn, as a shear of the wall turns its principal directions.

    Attributes:
        H: At the integration points, shape (n, n), per reference volume, with 2πR.

    Args:
        problem: The perturbed problem.
    """

    def __init__(self, problem: PerturbedProblem) -> None:
        domain, n = problem.mesh.domain, problem.components
        cell = domain.basix_cell()

        def at_points(*shape: int) -> fem.FunctionSpace:
            element = basix.ufl.quadrature_element(
                cell, value_shape=shape, degree=problem.model.quadrature_degree
            )
            return fem.functionspace(domain, element)

        self._folds = problem.folds
        groups = problem.fields.groups
        self._sizes = [n + 3 if group.folds else n for group in groups]
        variations = []
        for number, size in enumerate(self._sizes):
            constants = fem.functionspace(domain, basix.ufl.element("DG", cell, 0, shape=(size,)))
            x, dx = ufl.TestFunction(at_points(size)), ufl.TrialFunction(constants)
            variations.append(problem.density_variation(number, x, dx))
        self._forms = forms.compile_forms(variations, flags=forms.STRAIGHT_FLAGS)
        self._matrices = [fem_petsc.create_matrix(form) for form in self._forms]
        self._cells = [group.cells for group in groups]
        self.H = fem.Function(at_points(n, n))
        points = at_points(n)
        self._points = points.dofmap.list
        one, over = ufl.as_vector([1.0] * n), ufl.dx(metadata=problem.rule)

        def weights(density: Expr) -> FloatArray:
            form = forms.compile_forms(ufl.inner(ufl.TestFunction(points), one) * density * over)
            return fem.assemble_vector(form).array.reshape(-1, n)[:, 0].copy()

        self._weights = weights(fem.Constant(domain, 1.0))
        self._around = weights(problem.revolution) / self._weights if problem.folds else None

    def update(self) -> None:
        """Take H at the present state; collective."""
        n = self.H.ufl_shape[0]
        to, H = self.H.function_space.dofmap.list, self.H.x.array.reshape(-1, n, n)
        for size, form, matrix, cells in zip(
            self._sizes, self._forms, self._matrices, self._cells, strict=True
        ):
            matrix.zeroEntries()
            fem_petsc.assemble_matrix(matrix, form)
            matrix.assemble()
            starts, _, values = matrix.getValuesCSR()
            points = self._points[cells]
            blocks = values.reshape(-1, size, size)[starts[points * size] // size**2]
            blocks /= self._weights[points][..., None, None]
            H[to[cells]] = blocks if size == n else self._condensed(blocks, cells)

    def _condensed(self, H: FloatArray, cells: NDArray[np.int32]) -> FloatArray:
        """H of x alone, from that of (x, D)."""
        assert self._folds is not None
        assert self._around is not None
        n, response = self.H.ufl_shape[0], self._folds.response
        M = response.x.array.reshape(-1, 3, 3)[response.function_space.dofmap.list[cells]]
        M = M / self._around[self._points[cells]][..., None, None]
        return H[..., :n, :n] - H[..., :n, n:] @ M @ H[..., n:, :n]

    def resist_torsion(self) -> bool:
        """Whether a twist θ(R, Z) adds to the energy at every integration point; collective.

        It adds the row g = R Grad θ to F, so that its second variation is that by the components (hoop, R)
        and (hoop, Z) of F. No pressure, obstacle or field does work on it.
        """
        n = self.H.ufl_shape[0]
        H = self.H.x.array.reshape(-1, n, n)
        a, b, c = H[:, 3, 3], H[:, 5, 5], H[:, 3, 5]
        resists = bool(((a > 0) & (a * b > c**2)).all())
        return bool(self.H.function_space.mesh.comm.allreduce(resists, op=MPI.MIN))
