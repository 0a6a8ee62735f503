# SPDX-License-Identifier: MIT
"""Second derivatives of the density of the potential at the integration points."""

import basix.ufl
import ufl
from dolfinx import fem
from dolfinx.fem import petsc as fem_petsc
from mpi4py import MPI

from annelid.solver.energy import forms
from annelid.solver.harmonics.amplitudes import PerturbedProblem


class StateModuli:
    """H = ∂²W/∂x∂x of the density W in x = (F, p[, E0]) as data: one form of the amplitudes serves all laws.

    A form of a law in the amplitudes has these derivatives for each pair of their shape functions, and takes
    two to four times as long to compile. Here the arguments of the form are the components of x: tests at
    the integration points, and trials that are constant in a cell.

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

        points = at_points(n)
        constants = fem.functionspace(domain, basix.ufl.element("DG", cell, 0, shape=(n,)))
        x, dx = ufl.TestFunction(points), ufl.TrialFunction(constants)
        variations = [problem.density_variation(i, x, dx) for i in range(len(problem.fields.groups))]
        self._forms = forms.compile_forms(variations, flags=forms.STRAIGHT_FLAGS)
        self._matrices = [fem_petsc.create_matrix(form) for form in self._forms]
        self._cells = [group.cells for group in problem.fields.groups]
        self.H = fem.Function(at_points(n, n))
        self._points = points.dofmap.list
        one = ufl.as_vector([1.0] * n)
        weights = forms.compile_forms(ufl.inner(x, one) * ufl.dx(metadata=problem.rule))
        self._weights = fem.assemble_vector(weights).array.reshape(-1, n)[:, 0].copy()

    def update(self) -> None:
        """Take H at the present state; collective."""
        n = self.H.ufl_shape[0]
        to, H = self.H.function_space.dofmap.list, self.H.x.array.reshape(-1, n, n)
        for form, matrix, cells in zip(self._forms, self._matrices, self._cells, strict=True):
            matrix.zeroEntries()
            fem_petsc.assemble_matrix(matrix, form)
            matrix.assemble()
            starts, _, values = matrix.getValuesCSR()
            points = self._points[cells]
            blocks = values.reshape(-1, n, n)[starts[points * n] // n**2]
            H[to[cells]] = blocks / self._weights[points][..., None, None]

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
