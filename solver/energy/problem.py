# SPDX-License-Identifier: MIT
"""The total potential of a part, with that of its surfaces; ``cell_energies`` has that of its cells.

    Π(u, p, φ) = ∫ det G [ ψ(Fe) + β/2 (Je - 1)² - p (Je - 1) - p²/(2(κ - β)) ] dX
               + ∫ det G α/2 (Je - 1)² dX                         stabilisation, zero in the exact solution
               - ∫ ½ ε J |F⁻ᵀ E0|² dX                             E0 = (V/t) n, or -Grad φ
               - Σ P V(u) - Σ N ū - Σ τ θ̄ - ∫ det G ρ g·u dX       pressures, dead forces, torques, weight
               - ∫ P_s ½x⊥·n da                                    uneven pressure of a flow along the lumen
               + ½ ∫ k |u|² dA + ∫ ½ k ⟨-g⟩² dA                    foundations, contact with rigid obstacles
               + ∫ det G η μ |D|²/8 dX                            FᵀF + D replaces FᵀF in walls that fold

Fe is F G⁻¹, in deposited parts F F0⁻¹ G⁻¹. Residual and tangent are derivatives of Π. See README.md in this
folder for the symbols.
"""

import math

import ufl
from dolfinx import fem
from ufl.core.expr import Expr

from annelid.solver.energy import kinematics
from annelid.solver.energy.cell_energies import CellEnergies
from annelid.solver.energy.contact_gap import closing_energy, gap
from annelid.solver.energy.rotation import turned
from annelid.solver.model.boundary import Foundation
from annelid.solver.model.contact import Contact


class Problem(CellEnergies):
    """The discrete potential of a model, as uncompiled forms."""

    def internal_energy(self) -> ufl.Form:
        """Π without the pressures and the dead forces."""
        F = self.F
        Π = ufl.Form([])
        for i, group in enumerate(self.fields.groups, start=1):
            Π += self.potential_density(group, F) * self.revolution * self.dx(i)
        if self.fields.density is not None:
            for i, group in enumerate(self.fields.groups, start=1):
                Π -= self.weight_work(group, self.gravity, self.unknowns[0]) * self.revolution * self.dx(i)
        Π += self.surface_energy()
        for rotation in self.rotations.values():
            Π -= rotation.torque * rotation.mean
        return Π

    def surface_energy(self) -> ufl.Form:
        """Energy of foundations and contacts."""
        Π = ufl.Form([])
        for foundation, k in zip(self.model.foundations, self.fields.foundation_stiffness, strict=True):
            motion = self._foundation_motion(foundation)
            Π += k / 2 * motion * self.revolution * self.ds(self.surface_ids[foundation.region])
        for contact in self.model.contacts:
            Π += self._closing(contact) * self.revolution * self.ds(self.surface_ids[contact.surface])
        return Π

    def volume(self, surface: str) -> ufl.Form:
        """Volume V(u) between a surface and the axis by ∫ ½ x⊥·n da, exact while its edges stay plane.

        Of the modelled piece; positive on the side to which a pressure pushes the surface away: the volume of
        the lumen, and minus that within the outer surface.
        """
        return self._swept() * self.revolution * self.ds(self.surface_ids[surface])

    def section_work(self) -> ufl.Form:
        """Work ∫ P_s ½x⊥·n da of the uneven pressure in the lumen of the modelled piece."""
        return self.section_pressure * self._swept() * self.revolution * self.ds(self.surface_ids["lumen"])

    def _swept(self) -> Expr:
        """½x⊥·n of the lumen side of a surface, per reference area."""
        x = self._x + self.in_plane(self.unknowns[0])
        across = [x[0], 0, 0] if self.model.axisymmetric else [x[0], x[1], 0]
        return -ufl.inner(ufl.as_vector(across) / 2, self.area_vector())

    def drawn_length(self, weight: Expr) -> ufl.Form:
        """∫ weight dZ dθ/2π over the lumen as drawn: with the weight 1 its length, of the modelled piece."""
        _, (N_R, _), R = self._along_axis()
        return -weight * N_R / R * self._turn * self.ds(self.surface_ids["lumen"])

    def change_of_length(self, u: Expr, weight: Expr) -> ufl.Form:
        """What a displacement adds to ``drawn_length``; it is linear in it."""
        slopes, (N_R, N_Z), R = self._along_axis(u[self.axial])
        return (
            weight * (N_Z * slopes[0] - N_R * slopes[1]) / R * self._turn * self.ds(self.surface_ids["lumen"])
        )

    @property
    def _turn(self) -> Expr:
        """Revolution over 2π."""
        return self.revolution / (2 * math.pi)

    def _along_axis(self, value: Expr = 0) -> tuple[tuple[Expr, Expr], tuple[Expr, Expr], Expr]:
        """Derivatives of a value by R and Z, both components of the normal, and R, as drawn."""
        N, x = ufl.FacetNormal(self.mesh.domain), self._x
        g = ufl.grad(value) if value else ufl.zero(len(x))
        if self.model.axisymmetric:
            return (g[0], g[1]), (N[0], N[1]), x[0]
        R = ufl.sqrt(x[0] ** 2 + x[1] ** 2)
        return ((x[0] * g[0] + x[1] * g[1]) / R, g[2]), ((x[0] * N[0] + x[1] * N[1]) / R, N[2]), R

    def volume_gradient(self, v: Expr, surface: str) -> ufl.Form:
        """δV for a virtual displacement v: the work of a unit pressure on a surface.

        Where plates close the ends of the surface it is the derivative of V, which includes the thrust on the
        plates. Else it is the work on the wall alone, the same where the edges slide in their planes.

        Args:
            v: Test function of the displacement.
            surface: The surface.
        """
        if self.model.has_plates_at(surface):
            return ufl.derivative(self.volume(surface), self.unknowns[0], v)
        v3 = ufl.as_vector([v[0], 0, v[1]]) if self.model.axisymmetric else v
        return -ufl.inner(v3, self.area_vector()) * self.revolution * self.ds(self.surface_ids[surface])

    def mean_motion(self, surface: str, w: Expr, direction: str) -> ufl.Form:
        """∫ w_Z dA or ∫ w_R dA over a surface in the reference configuration (divide by its area).

        Args:
            surface: The surface.
            w: Motion.
            direction: ``"axial"`` or ``"radial"``.
        """
        x = self._x
        across = w[0] if self.axial == 1 else (x[0] * w[0] + x[1] * w[1]) / ufl.sqrt(x[0] ** 2 + x[1] ** 2)
        return (w[self.axial] if direction == "axial" else across) * self.revolution * self._over(surface)

    def area(self, surface: str) -> ufl.Form:
        """Reference area of a named surface."""
        return fem.Constant(self.mesh.domain, 1.0) * self.revolution * self._over(surface)

    def _over(self, surface: str) -> ufl.Measure:
        """Measure over any outer surface."""
        return self._measure("ds", [(1, self.mesh.facet_entities(surface))])(1)

    def area_vector(self) -> Expr:
        """cof(F) N: current area vector per reference area (Nanson)."""
        N = ufl.FacetNormal(self.mesh.domain)
        N3 = ufl.as_vector([N[0], 0, N[1]]) if self.model.axisymmetric else N
        return kinematics.cofactor(self.F) * N3

    def contact_gap(self, contact: Contact) -> Expr:
        """Gap of a contact at its surface, mm."""
        i = self.model.contacts.index(contact)
        position, place = self.fields.obstacles[i], self._contact_places[i]
        x = self._x + self.in_plane(self.unknowns[0])
        return gap(contact.kind, x, position, place, self.model.axisymmetric)

    def _closing(self, contact: Contact) -> Expr:
        k = self.contact_stiffness[self.model.contacts.index(contact)]
        return closing_energy(self.contact_gap(contact), k)

    def _foundation_motion(self, foundation: Foundation) -> Expr:
        u, N = self.unknowns[0], ufl.FacetNormal(self.mesh.domain)
        if self.arm is not None:
            u, N = turned(self._x, u, self.arm), ufl.as_vector([N[0], 0, N[1]])
        return ufl.inner(u, u) if foundation.direction == "all" else ufl.inner(u, N) ** 2
