# SPDX-License-Identifier: MIT
"""The total potential of a part: the one place where the model is written down.

    Π(u, p, φ) = ∫ det G [ ψ(Fe) - p (Je - 1) - p²/(2κ) ] dX      Fe = F G⁻¹, deposited parts: F F0⁻¹ G⁻¹
               + ∫ det G α/2 (Je - 1 + p/κ)² dX                   stabilisation, zero in the exact solution
               - ∫ ½ ε J |F⁻ᵀ E0|² dX                             E0 = (V/t) n, or -Grad φ
               - Σ P V(u) - Σ N ū - Σ τ θ̄ - ∫ det G ρ g·u dX       pressures, dead forces, torques, weight
               - ∫ P_s ½x⊥·n da                                    uneven pressure of a flow along the lumen
               + ½ ∫ k |u|² dA + ∫ ½ k ⟨-g⟩² dA                    foundations, contact with rigid obstacles
               + ∫ det G ½ η μ |b|² dX                             folds of slack walls, where F B replaces F

Residual and tangent are derivatives of Π. See README.md in this folder for the symbols.
"""

import math
from typing import Any

import basix.ufl
import numpy as np
import ufl
from dolfinx import fem
from mpi4py import MPI
from ufl.core.expr import Expr

from annelid.geometry.body import Body, FloatArray
from annelid.geometry.errors import InputError
from annelid.solver.energy import kinematics
from annelid.solver.energy.contact_gap import closing_energy, gap
from annelid.solver.energy.folds import Folds
from annelid.solver.energy.laws import ENERGIES, fibre_family
from annelid.solver.energy.mesh import MeshedBody, mesh_body
from annelid.solver.energy.properties import CellGroup, Properties, properties_of
from annelid.solver.energy.rotation import EndRotation, turned
from annelid.solver.energy.spaces import pressure_space
from annelid.solver.energy.stretch_fields import turning
from annelid.solver.model.boundary import Foundation
from annelid.solver.model.contact import Contact
from annelid.solver.model.model import Model

# Below 3 in quadrilaterals and hexahedra, and without it in tetrahedra, a thick tube under suction has
# spurious modes; larger values make coarse meshes too stiff (tests/solver/test_compression.py).
STABILISATION = {"quad9": 5.0, "hexahedron27": 5.0, "tetra10": 2.0}
"""Factor c of the stabilisation by cell type."""


class Problem:
    """The discrete potential of a model: unknowns, parameter fields and uncompiled forms.

    Attributes:
        model: What is solved.
        rule: Metadata of its integrals: the quadrature rule.
        mesh: The DOLFINx mesh.
        spaces: Function spaces of u, p and, with a solved potential, φ.
        unknowns: The functions u, p, φ.
        fields: Cell-wise parameters; changing their values never recompiles a form.
        pressures: Constant P of each surface that a fluid wets, MPa.
        contact_stiffness: Constant k of each contact, MPa/mm.
        revolution: 2πR when axisymmetric, else 1.
        frame: Wall directions (normal, hoop, axial).
        deposition: Displacement u0 at which deposited parts are stress-free; ``None`` if there are none.
        section_pressure: Uneven pressure P_s in the lumen, MPa, of a flow along it; else ``None``.
        gravity: Constant acceleration g of gravity, mm/s².
        axial: Component of the displacement along the axis.
        arm: Constant R0, the largest drawn radius, mm, of an axisymmetric model with twist, whose
            displacement is (u_R, u_Z, R0 θ); else ``None``.
        rotations: Rotation of each end of a part that twists, with its torque.
    """

    def __init__(self, model: Model, *, comm: MPI.Comm = MPI.COMM_WORLD) -> None:
        self.model = model
        self.rule = {"quadrature_degree": model.quadrature_degree}
        self.mesh: MeshedBody = mesh_body(model.body, comm)
        domain = self.mesh.domain
        cell = domain.basix_cell()
        dim = domain.geometry.dim
        displacement = basix.ufl.element("Lagrange", cell, 2, shape=(dim + model.solved_twist,))
        self.spaces = [fem.functionspace(domain, displacement), pressure_space(self.mesh)]
        if model.solved_potential:
            self.spaces.append(fem.functionspace(domain, basix.ufl.element("Lagrange", cell, 2)))
        self.unknowns = [fem.Function(V, name=n) for V, n in zip(self.spaces, "upφ", strict=False)]
        self.fields: Properties = properties_of(model, self.mesh)
        self.deposition = None
        if model.deposited:
            self.deposition = fem.Function(self.spaces[0], name="u0")
        self.axial = dim - 1
        self.arm = fem.Constant(domain, float(model.body.points[:, 0].max())) if model.solved_twist else None
        self.pressures = {surface: fem.Constant(domain, 0.0) for surface in model.wetted}
        self.section_pressure: fem.Function | None = None
        if model.sections_of_flow:
            self.section_pressure = fem.Function(
                fem.functionspace(domain, basix.ufl.element("Lagrange", cell, 1)), name="P_s"
            )
        self.gravity = fem.Constant(domain, np.zeros(dim))
        self.node_of_dof = self.mesh.nodes_of_dofs(self.spaces[0])
        self.contact_stiffness = [
            fem.Constant(domain, model.contact_stiffness(contact)) for contact in model.contacts
        ]
        self._contact_places = [
            [fem.Constant(domain, number) for number in contact.place] for contact in model.contacts
        ]
        self._x = ufl.SpatialCoordinate(domain)
        self.revolution = kinematics.revolution(self._x, model.axisymmetric)
        normal = self._nodal(model.body.normal)
        hoop = None if model.axisymmetric else self._nodal(_hoop(model.body))
        self.frame = kinematics.wall_frame(normal, hoop, turning=turning(model))
        self.surface_ids = {name: i for i, name in enumerate(self._loaded_surfaces(), start=1)}
        self.dx = self._measure("dx", [(i, g.cells) for i, g in enumerate(self.fields.groups, start=1)])
        self.ds = self._measure("ds", [(i, self.mesh.facet_entities(s)) for s, i in self.surface_ids.items()])
        self.folds = Folds(domain, model.quadrature_degree) if self.fields.fold_stiffness else None
        self.rotations = {
            end: EndRotation(
                self._x, self.unknowns[0], self.arm, self.revolution, self.ds(self.surface_ids[end])
            )
            for end in (model.inventory.ends if model.has_twist else ())
        }

    def _measure(self, kind: str, places: list[tuple[int, Any]]) -> ufl.Measure:
        """Measure over numbered cells or facets."""
        return ufl.Measure(kind, domain=self.mesh.domain, subdomain_data=places, metadata=self.rule)

    @property
    def comm(self) -> MPI.Comm:
        """Communicator of the mesh."""
        return self.mesh.domain.comm

    @property
    def uncoupled(self) -> bool:
        """Whether the hoop direction stays a principal one."""
        return self.model.axisymmetric and self.arm is None

    @property
    def F(self) -> Expr:
        """Deformation gradient of the reference shape."""
        return ufl.Identity(3) + self.gradient(self.unknowns[0])

    def gradient(self, u: Expr, *, linear: bool = False) -> Expr:
        """Displacement gradient, 3x3, also of a small displacement."""
        return kinematics.gradient(u, self._x, self.model.axisymmetric, arm=self.arm, linear=linear)

    def in_plane(self, u: Expr) -> Expr:
        """Displacement without the twist, of as many components as the mesh has."""
        return u if self.arm is None else ufl.as_vector([u[0], u[1]])

    def unfolded(self, F: Expr) -> Expr:
        """Deformation Fw = F B of the material of walls that fold; F where none do."""
        return F if self.folds is None else F * self.folds.stretch(self.frame)

    def elastic(self, group: CellGroup, F: Expr) -> kinematics.Strain:
        """Strain of Fe = F B F0⁻¹ G⁻¹; B is 1 where nothing folds, F0 where nothing was deposited."""
        if group.folds:
            F = self.unfolded(F)
        if group.deposited:
            F = F * ufl.inv(self._deposition_gradient())
        if self.fields.natural is not None:
            F = F * kinematics.natural_inverse(self.fields.natural, self.frame)
        return kinematics.strain_of(F, self.uncoupled, self.frame)

    def _deposition_gradient(self) -> Expr:
        """F0 = 1 + Grad u0 of deposited parts."""
        assert self.deposition is not None
        return ufl.Identity(3) + self.gradient(self.deposition)

    def growth(self, *, deposited: bool) -> Expr:
        """Stress-free over reference volume."""
        return self.fields.det_G * ufl.det(self._deposition_gradient()) if deposited else self.fields.det_G

    def stored_energy(self, group: CellGroup, F: Expr) -> Expr:
        """ψ(Fe) of some cells with their electrode film and fibres, per stress-free volume."""
        strain = self.elastic(group, F)
        law = group.law
        ψ = ENERGIES[law](strain, *self.fields.law_arguments(law))
        if self.fields.film is not None:
            fraction, μ = self.fields.film
            ψ = (1 - fraction) * ψ + fraction * μ / 2 * (strain.I1 - 3)
        if self.fields.fibres is not None:
            ψ += self._fibre_energy(strain)
        return ψ

    def strain_energy(self, group: CellGroup, F: Expr) -> Expr:
        """Energy det G [ψ + p²/(2κ)] per reference volume, where p = κ (1 - Je)."""
        change = self.fields.compliance / 2 * self.unknowns[1] ** 2
        return self.growth(deposited=group.deposited) * (self.stored_energy(group, F) + change)

    def stabilisation(self, group: CellGroup, F: Expr) -> Expr:
        """Energy det G α/2 (Je - 1 + p/κ)² per reference volume, with α = c ψ/(1 + c ψ/κ).

        It is zero in the exact solution. The pressure unknown makes only the mean of Je - 1 + p/κ in a cell
        zero; without this term, its fluctuation in a cell has spurious modes under large compression.
        """
        ψ, Je = self.stored_energy(group, F), self.elastic(group, F).J
        c = STABILISATION[self.model.body.cell_type]
        # In incompressible parts, derivatives by p do not need ψ: a sixth of the time of a tangent.
        compliance = self.fields.compliance if group.compressible else 0
        error = Je - 1 + compliance * self.unknowns[1]
        growth = self.growth(deposited=group.deposited)
        return growth * c / 2 * ψ * error**2 / (1 + c * compliance * ψ)

    def nominal_field(self) -> Expr | None:
        """E0 in the reference configuration, kV/mm; ``None`` without electrodes."""
        if not self.model.electrodes:
            return None
        if self.model.solved_potential:
            return -kinematics.scalar_gradient(self.unknowns[2], self.model.axisymmetric)
        return self.fields.sheet_field * self.frame[0]

    def field_energy(self, group: CellGroup, F: Expr) -> Expr | None:
        """½ ε J |F⁻ᵀ E0|² per reference volume, mJ/mm³; ``None`` without electrodes."""
        E0 = self.nominal_field()
        if E0 is None:
            return None
        F, growth = self.unfolded(F) if group.folds else F, self.growth(deposited=group.deposited)
        return self.fields.permittivity / 2 * kinematics.field_measure(F, E0, growth)

    def sheet_capacity(self, *, deposited: bool = False) -> Expr:
        """ε J |F⁻ᵀ n|² per reference volume, N/kV²: twice the energy at a unit nominal field along n."""
        return self.fields.permittivity * kinematics.field_measure(
            self.unfolded(self.F), self.frame[0], self.growth(deposited=deposited)
        )

    def density(self, group: CellGroup, F: Expr) -> Expr:
        """Potential det G [ψ - p (Je - 1) - p²/(2κ)] - ½ ε J |F⁻ᵀ E0|² of some cells per reference volume."""
        growth, p = self.growth(deposited=group.deposited), self.unknowns[1]
        Je = self.elastic(group, F).J
        W = self.strain_energy(group, F) - growth * p * (Je - 1 + self.fields.compliance * p)
        U = self.field_energy(group, F)
        return W if U is None else W - U

    def potential_density(self, group: CellGroup, F: Expr) -> Expr:
        """``density`` with the stabilisation and the residual stiffness ½ η μ |b|² of folds."""
        W = self.density(group, F) + self.stabilisation(group, F)
        if group.folds:
            assert self.folds is not None
            b = self.folds.b
            W += self.growth(deposited=group.deposited) * self.fields.fold_stiffness / 2 * ufl.inner(b, b)
        return W

    def weight_work(self, group: CellGroup, g: Expr, u: Expr) -> Expr:
        """Work det G ρ g·u of the weight of some cells, less the buoyancy, per reference volume."""
        return self.growth(deposited=group.deposited) * self.fields.density * ufl.inner(g, self.in_plane(u))

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

    def _fibre_energy(self, strain: kinematics.Strain) -> Expr:
        assert self.fields.fibres is not None
        assert self.fields.fibre_fraction is not None
        along, across, k1, k2 = self.fields.fibres
        _, hoop, axial = self.frame
        pair = [fibre_family(strain, k1, k2, along * hoop + sign * across * axial) for sign in (1, -1)]
        fraction = self.fields.fibre_fraction
        return fraction * pair[0] + (1 - fraction) * pair[1]

    def _nodal(self, values: FloatArray) -> fem.Function:
        space, nodes = self.spaces[0], self.node_of_dof
        if self.arm is not None:
            domain = self.mesh.domain
            element = basix.ufl.element("Lagrange", domain.basix_cell(), 2, shape=(values.shape[1],))
            space = fem.functionspace(domain, element)
            nodes = self.mesh.nodes_of_dofs(space)
        f = fem.Function(space)
        f.x.array[:] = values[nodes].ravel()
        return f

    def _loaded_surfaces(self) -> list[str]:
        """Outer surfaces that may carry a load, in a fixed order."""
        model = self.model
        extra = [f.region for f in model.foundations] + [c.surface for c in model.contacts]
        return list(
            dict.fromkeys([*model.wetted, *extra, *(model.inventory.ends if model.has_twist else ())])
        )


def _hoop(body: Body) -> FloatArray:
    if body.hoop is None:
        raise InputError("a three-dimensional body needs its hoop directions", key="hoop")
    return body.hoop
