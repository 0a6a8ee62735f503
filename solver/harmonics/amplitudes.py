# SPDX-License-Identifier: MIT
"""The potential of an axisymmetric state with a perturbation of m waves around the axis.

    u = (a cos mθ, b sin mθ, c cos mθ),   p = q cos mθ,   φ = f cos mθ

In the axes (R, hoop, Z) the amplitude of the gradient of u is

    [[a,R, -(m a + b)/R, a,Z], [b,R, (m b + a)/R, b,Z], [c,R, -m c/R, c,Z]]

Its components that hold one index of the hoop go with sin mθ, the others with cos mθ. Second derivatives of
the density couple only components of one kind, because the state is symmetric about every plane through the
axis. The integral of the second variation over θ is therefore that of the amplitudes, times ½ for m ≥ 1.

The density of the potential varies with x = (F, p[, E0]), of 10 or 13 components: F row by row, the pressure,
the field.
"""

from typing import Any

import basix.ufl
import ufl
from dolfinx import fem
from dolfinx.fem import petsc as fem_petsc
from ufl.core.expr import Expr

from annelid.geometry.errors import InvalidValue
from annelid.solver.energy.contact_gap import gap
from annelid.solver.energy.problem import Problem
from annelid.solver.model.boundary import Foundation
from annelid.solver.model.contact import Contact
from annelid.solver.model.model import Model

_ZERO = ((2, 1),)  # of the gradient for m = 0


class PerturbedProblem(Problem):
    """The potential of the present state of a problem plus local perturbations of value zero.

    Only the second derivatives by the perturbations are of use: mesh, parameters, loads and state are those
    of the problem. Principal values are general ones, because a perturbation shears the hoop direction.

    Attributes:
        spaces: Function spaces of the amplitudes (a, b, c), q and, with a solved potential, f.
        m: Constant number of waves around the axis.
        components: Number of components of x.

    Args:
        problem: An axisymmetric problem without twist.

    Raises:
        InvalidValue: A perturbation of the model does not split into harmonics, see ``why_not``.
    """

    def __init__(self, problem: Problem) -> None:
        reason = why_not(problem.model)
        if reason:
            raise InvalidValue(reason, key="harmonics")
        vars(self).update(vars(problem))
        domain = self.mesh.domain
        element = basix.ufl.element("Lagrange", domain.basix_cell(), 2, shape=(3,))
        self.spaces = [fem.functionspace(domain, element), *problem.spaces[1:]]
        self.layout = fem_petsc.create_vector(self.spaces)
        self.node_of_dof = self.mesh.nodes_of_dofs(self.spaces[0])
        self.m = fem.Constant(domain, 0.0)
        self.components = 13 if problem.model.solved_potential else 10
        self._δu, self._δF, self._δp, self._δE0, self._δD = (
            fem.Function(fem.functionspace(domain, ("DG", 0, shape)))
            for shape in ((3,), (3, 3), (), (3,), (3,))
        )
        if problem.folds is not None:
            self.folds = problem.folds.perturbed(self._δD)
        self.unknowns = [problem.unknowns[0], problem.unknowns[1] + self._δp, *problem.unknowns[2:]]

    def density_variation(self, number: int, test: Expr, trial: Expr) -> ufl.Form:
        """Second variation of the density of a group of cells, per reference volume, at the present state.

        Args:
            number: Of the group in ``fields.groups``.
            test: A direction of x, and of D where the group folds.
            trial: The other one.
        """
        group = self.fields.groups[number]
        W = self.potential_density(group, self.F) * self.revolution
        variation = W * self._measure("dx", [(1, group.cells)])(1)
        for x in (test, trial):
            directions = {self._δF: ufl.as_matrix([[x[3 * i + j] for j in range(3)] for i in range(3)])}
            directions[self._δp] = x[9]
            if self.components > 10:
                directions[self._δE0] = ufl.as_vector([x[10], x[11], x[12]])
            if group.folds:
                directions[self._δD] = ufl.as_vector([x[self.components + i] for i in range(3)])
            variation = ufl.derivative(variation, tuple(directions), tuple(directions.values()))
        return self.at_state(variation)

    def amplitudes_of(self, block: int, v: Expr) -> tuple[dict[int, Expr], dict[int, Expr]]:
        """Amplitudes of the components of x, by number: their values at m = 0, and the factors of m.

        Args:
            block: 0 displacement, 1 pressure, 2 potential.
            v: Test or trial function of the block's space.
        """
        R = self._x[0]
        if block == 0:
            G = self._round_gradient(v)
            at_0 = {3 * i + j: G[i, j] for i in range(3) for j in range(3) if (i, j) not in _ZERO}
            return at_0, {1: -v[0] / R, 4: v[1] / R, 7: -v[2] / R}
        if block == 1:
            return {9: v}, {}
        grad = ufl.grad(v)
        return {10: -grad[0], 12: -grad[1]}, {11: v / R}

    def derivative(self, form: ufl.Form, v: Expr) -> ufl.Form:
        """Derivative of a form on surfaces by a perturbation of the displacement with the amplitude v."""
        return ufl.derivative(form, (self._δu, self._δF), (v, self._gradient_amplitude(v)))

    def at_state(self, form: ufl.Form) -> ufl.Form:
        """A differentiated form with the perturbations zero.

        As data they would hide from the compiler what vanishes at an axisymmetric state, which is most.
        """
        perturbations = (self._δu, self._δF, self._δp, self._δE0, self._δD)
        zero = {δ: ufl.zero(*δ.ufl_shape) for δ in perturbations}
        return ufl.replace(ufl.algorithms.expand_derivatives(form), zero)

    def _gradient_amplitude(self, v: Expr) -> Expr:
        around = ufl.as_vector([-v[0], v[1], -v[2]]) / self._x[0]
        return self._round_gradient(v) + self.m * ufl.outer(around, ufl.as_vector([0, 1, 0]))

    def _round_gradient(self, v: Expr) -> Expr:
        """The amplitude of the gradient for m = 0."""
        H, R = ufl.grad(v), self._x[0]
        return ufl.as_matrix(
            [[H[0, 0], -v[1] / R, H[0, 1]], [H[1, 0], v[0] / R, H[1, 1]], [H[2, 0], 0, H[2, 1]]]
        )

    # the perturbed state

    @property
    def uncoupled(self) -> bool:
        """A perturbation may shear the hoop direction."""
        return False

    @property
    def F(self) -> Expr:
        """Deformation gradient with its perturbation."""
        return super().F + self._δF

    def nominal_field(self) -> Expr | None:
        """E0 with its perturbation; that of the layered model is given and has none."""
        E0 = super().nominal_field()
        return E0 + self._δE0 if E0 is not None and self.model.solved_potential else E0

    @property
    def _motion(self) -> Expr:
        """Displacement along (R, hoop, Z)."""
        u = self.unknowns[0]
        return ufl.as_vector([u[0], 0, u[1]]) + self._δu

    @property
    def _place(self) -> Expr:
        return ufl.as_vector([self._x[0], 0, self._x[1]]) + self._motion

    def volume(self, surface: str) -> ufl.Form:
        """As ``Problem.volume``, which holds if the ends of the surface stay in their planes."""
        half = ufl.as_vector([self._place[0], self._place[1], 0]) / 2
        return -ufl.inner(half, self.area_vector()) * self.revolution * self.ds(self.surface_ids[surface])

    def volume_gradient(self, v: Any, surface: str) -> ufl.Form:
        """As ``Problem.volume_gradient`` for amplitudes v."""
        if self.model.has_plates_at(surface):
            return self.derivative(self.volume(surface), v)
        return -ufl.inner(v, self.area_vector()) * self.revolution * self.ds(self.surface_ids[surface])

    def contact_gap(self, contact: Contact) -> Expr:
        """Gap of the perturbed place; around the axis it is curved, also where the obstacle is a cylinder."""
        i = self.model.contacts.index(contact)
        x, y, z = (self._place[k] for k in range(3))
        position, place = self.fields.obstacles[i], self._contact_places[i]
        return gap(contact.kind, ufl.as_vector([x, y, z]), position, place, False)

    def _foundation_motion(self, foundation: Foundation) -> Expr:
        u, N = self._motion, ufl.FacetNormal(self.mesh.domain)
        along = u[0] * N[0] + u[2] * N[1]
        return ufl.inner(u, u) if foundation.direction == "all" else along**2


def why_not(model: Model) -> str:
    """Why a model's perturbations cannot be judged by harmonics, in a sentence; "" if they can."""
    if not model.axisymmetric:
        return "only axisymmetric models are judged by harmonics; a 3-D model has all modes of its own"
    winding = [p.region for p in model.parts if p.fibres is not None and p.fibres.twist]
    if winding:
        parts = " and ".join(f"'{region}'" for region in winding)
        return (
            f"fibres of {parts} wind around the axis one way, so that waves cos mθ and sin mθ are coupled: "
            "take a balanced pair (families = 2) or judge a 3-D model"
        )
    if model.has_twist:
        return (
            "loads turn the part about its axis, so that waves cos mθ and sin mθ are coupled: judge a 3-D "
            "model or leave out torques and rotations"
        )
    if model.sections_of_flow:
        return (
            "a flow along the lumen has pressures of its own in each section, whose second variation is not "
            "known: judge a 3-D model, or a path with one pressure"
        )
    for support in model.supports:
        if support.hold == "symmetric" and not support.fixes_axial_motion:
            return (
                f"hold = 'symmetric' of '{support.region}' is no plane of symmetry of the whole part: "
                "support it with hold = 'radial' or 'all'"
            )
    return ""
