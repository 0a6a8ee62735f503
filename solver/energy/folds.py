# SPDX-License-Identifier: MIT
"""Walls that carry no compression in their plane: the length that they lay in folds, point by point.

A thin wall that is compressed in its plane folds. Its material is then longer than its place in space shows.
With C = FᵀF of the place, the material has the deformation tensor

    Cw = C + D,   D = D_hh h⊗h + D_aa a⊗a + D_ha (h⊗a + a⊗h) ≥ 0

in place of C, with the wall directions h (hoop) and a (axial). D minimises the potential at each integration
point. So the in-plane stress S is nowhere negative, S D = 0, and D is zero where the wall is taut, d⊗d where
it is slack along one direction, and regular where it is so along both. This is tension-field theory
(Reissner 1938; Pipkin, IMA J. Appl. Math. 36, 85, 1986; Steigmann, Proc. R. Soc. A 429, 141, 1990; all from
memory): the relaxed energy is the least one of all deformations that shorten no line of the place.

D follows from (u, p, φ) at once and is no unknown of the equations. The residual is that at fixed D, and

    K = ∂²Π/∂x² - (∂²Π/∂x∂D) M (∂²Π/∂D∂x)

with the response M of D to ∂Π/∂D, see ``fold_search``. Within the directions in which D may vary the energy
is at its minimum, so the inertia of K counts the unstable modes as before.
"""

from copy import copy

import basix.ufl
import numpy as np
import ufl
from dolfinx import fem
from dolfinx.mesh import Mesh
from mpi4py import MPI
from numpy.typing import NDArray
from ufl.core.expr import Expr

from annelid.geometry.body import FloatArray
from annelid.solver.energy.fold_search import LocalEnergy, least_energy
from annelid.solver.errors import NoEquilibrium

Frame = tuple[Expr, Expr, Expr]


class Folds:
    """The tensor D of the present state, and M.

    D is written with the components (D_hh, D_aa, √2 D_ha), so that their scalar product is that of tensors.

    Attributes:
        D: These components, by which energies are differentiated.
        values: Their values at the integration points.
        response: M, 1/MPa.

    Args:
        domain: The mesh.
        degree: Of the rule of integration.
    """

    def __init__(self, domain: Mesh, degree: int) -> None:
        cell = domain.basix_cell()

        def at_points(*shape: int) -> fem.Function:
            element = basix.ufl.quadrature_element(cell, value_shape=shape, degree=degree)
            return fem.Function(fem.functionspace(domain, element))

        self.values, self.response = at_points(3), at_points(3, 3)
        # A label of its own number, or every further run in a process would compile again.
        self.D: Expr = ufl.classes.Variable(self.values, ufl.classes.Label(1))
        self.points, _ = basix.make_quadrature(cell, degree)
        self._domain = domain

    def perturbed(self, δD: fem.Function) -> "Folds":
        """The same folds at D + δD, by which energies are differentiated in place of D."""
        folds = copy(self)
        folds.D = self.values + δD
        return folds

    def tensor(self, frame: Frame) -> Expr:
        """D in the reference axes."""
        _, h, a = frame
        shear = ufl.outer(h, a) + ufl.outer(a, h)
        return self.D[0] * ufl.outer(h, h) + self.D[1] * ufl.outer(a, a) + self.D[2] * np.sqrt(0.5) * shear

    def local(self, energy: Expr) -> Expr:
        """Energy density with its derivatives by D, as one vector (w, ∂w/∂D, ∂²w/∂D∂D)."""
        g = ufl.diff(energy, self.D)
        H = ufl.diff(g, self.D)
        return ufl.as_vector(
            [energy, *(g[i] for i in range(3)), *(H[i, j] for i in range(3) for j in range(3))]
        )

    def update(self, energies: list[tuple[fem.Expression, NDArray[np.int32]]], modulus: FloatArray) -> None:
        """Find D and M at the present unknowns; collective.

        Args:
            energies: Compiled ``local`` of each group of cells that fold, and its cells.
            modulus: Shear modulus of all cells of this rank, MPa.

        Raises:
            NoEquilibrium: No D was found at some point.
        """
        found = True
        for expression, cells in energies:
            found &= self._update(expression, cells, modulus[cells])
        if not self._domain.comm.allreduce(found, op=MPI.LAND):
            raise NoEquilibrium(
                "no length of the folds of a slack wall was found, which without tension may be anywhere: "
                "begin with loads that make it taut, and lower them"
            )

    def _update(self, expression: fem.Expression, cells: NDArray[np.int32], modulus: FloatArray) -> bool:
        """The same for a group of cells; whether D was found at all their points."""
        dofs = self.values.function_space.dofmap.list[cells]
        every = self.values.x.array.reshape(-1, 3)

        def evaluate(rows: NDArray[np.intp], D: FloatArray) -> LocalEnergy:
            every[dofs[rows]] = D
            raw = expression.eval(self._domain, cells[rows]).reshape(*D.shape[:2], 13)
            return LocalEnergy(raw[..., 0], raw[..., 1:4], raw[..., 4:].reshape(*D.shape[:2], 3, 3))

        before = every[dofs]
        for guess in (before, np.zeros_like(before)):  # that of a step that failed may be far off
            D, M, found = least_energy(evaluate, modulus, guess)
            if found:
                break
        every[dofs] = D if found else before
        if found:
            self.response.x.array.reshape(-1, 3, 3)[dofs] = M
        return found
