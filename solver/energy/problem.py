# SPDX-License-Identifier: MIT
"""The total potential of a part: the one place where the model is written down.

    Π(u, p, φ) = ∫ det G [ ψ(Fe) - p (Je - 1) - p²/(2κ) ] dX      Fe = F G⁻¹, deposited: F F0⁻¹ G⁻¹
               - ∫ ½ ε J |F⁻ᵀ E0|² dX                             E0 = (V/t) n, or -Grad φ
               - P V(u) + ½ ∫ k |u|² dA - Σ N ū                    lumen, tissue beds, axial forces
               + ∫ ½ k ⟨-g⟩² dA                                    contact with rigid obstacles

Residual and tangent are derivatives of Π. See README.md in this folder for the symbols.
"""

from typing import Any

import basix.ufl
import ufl
from dolfinx import fem
from mpi4py import MPI
from ufl.core.expr import Expr

from annelid.geometry.body import Body, FloatArray
from annelid.geometry.errors import InputError
from annelid.solver.energy import kinematics
from annelid.solver.energy.contact_gap import closing_energy, gap
from annelid.solver.energy.laws import ENERGIES, fibre_family
from annelid.solver.energy.mesh import MeshedBody, mesh_body
from annelid.solver.energy.properties import Members, Properties, properties_of
from annelid.solver.energy.spaces import pressure_space
from annelid.solver.energy.stretch_fields import turning
from annelid.solver.model.contact import Contact
from annelid.solver.model.model import Model
from annelid.solver.model.parts import TissueBed

QUADRATURE_DEGREE = 5  # three points a direction; 4 gives the same on hexahedra, fewer on tetrahedra


class Problem:
    """The discrete potential of a model: unknowns, parameter fields and uncompiled forms.

    Attributes:
        model: What is solved.
        mesh: The DOLFINx mesh.
        spaces: Function spaces of u, p and, with a solved potential, φ.
        unknowns: The functions u, p, φ.
        fields: Cell-wise parameters; changing their values never recompiles a form.
        lumen_pressure: Constant P, MPa.
        contact_stiffness: Constant k of each contact, MPa/mm.
        weight: 2πR when axisymmetric, else 1.
        frame: Wall directions (normal, hoop, axial).
        laying: Displacement u0 in which parts were deposited on the others; ``None`` if none is.
    """

    def __init__(self, model: Model, *, comm: MPI.Comm = MPI.COMM_WORLD) -> None:
        self.model = model
        self.mesh: MeshedBody = mesh_body(model.body, comm)
        domain = self.mesh.domain
        cell = domain.basix_cell()
        dim = domain.geometry.dim
        displacement = basix.ufl.element("Lagrange", cell, 2, shape=(dim,))
        self.spaces = [fem.functionspace(domain, displacement), pressure_space(self.mesh)]
        if model.solved_potential:
            self.spaces.append(fem.functionspace(domain, basix.ufl.element("Lagrange", cell, 2)))
        self.unknowns = [fem.Function(V, name=n) for V, n in zip(self.spaces, "upφ", strict=False)]
        self.fields: Properties = properties_of(model, self.mesh)
        self.laying = None
        if model.deposited:
            self.laying = fem.Function(self.spaces[0], name="u0")
        self.lumen_pressure = fem.Constant(domain, 0.0)
        self.node_of_dof = self.mesh.nodes_of_dofs(self.spaces[0])
        self.contact_stiffness = [
            fem.Constant(domain, model.contact_stiffness(contact)) for contact in model.contacts
        ]
        self._contact_places = [
            [fem.Constant(domain, number) for number in contact.place] for contact in model.contacts
        ]
        self._x = ufl.SpatialCoordinate(domain)
        self.weight = kinematics.measure_weight(self._x, model.axisymmetric)
        normal = self._nodal(model.body.normal)
        hoop = None if model.axisymmetric else self._nodal(_hoop(model.body))
        self.frame = kinematics.wall_frame(normal, hoop, turning=turning(model))
        self.surface_ids = {name: i for i, name in enumerate(self._loaded_surfaces(), start=1)}
        self.dx = self._measure("dx", [(i, m.cells) for i, m in enumerate(self.fields.laws, start=1)])
        self.ds = self._measure("ds", [(i, self.mesh.facet_entities(s)) for s, i in self.surface_ids.items()])

    def _measure(self, kind: str, places: list[tuple[int, Any]]) -> ufl.Measure:
        """Measure over numbered cells or facets."""
        rule = {"quadrature_degree": QUADRATURE_DEGREE}
        return ufl.Measure(kind, domain=self.mesh.domain, subdomain_data=places, metadata=rule)

    @property
    def comm(self) -> MPI.Comm:
        """Communicator of the mesh."""
        return self.mesh.domain.comm

    @property
    def F(self) -> Expr:
        """Deformation gradient of the drawn body."""
        return ufl.Identity(3) + kinematics.gradient(self.unknowns[0], self._x, self.model.axisymmetric)

    def elastic(self, F: Expr, *, deposited: bool = False) -> kinematics.Strain:
        """Strain of Fe = F F0⁻¹ G⁻¹; F0 is 1 in parts that were not deposited."""
        if deposited:
            F = F * ufl.inv(self._laid_gradient())
        if self.fields.natural is not None:
            F = F * kinematics.natural_inverse(self.fields.natural, self.frame)
        return kinematics.strain_of(F, self.model.axisymmetric, self.frame)

    def _laid_gradient(self) -> Expr:
        """F0 = 1 + Grad u0."""
        assert self.laying is not None
        return ufl.Identity(3) + kinematics.gradient(self.laying, self._x, self.model.axisymmetric)

    def growth(self, *, deposited: bool) -> Expr:
        """Stress-free over drawn volume."""
        return self.fields.det_G * ufl.det(self._laid_gradient()) if deposited else self.fields.det_G

    def stored_energy(self, members: Members, F: Expr) -> Expr:
        """ψ(Fe) of some cells with their electrode film and fibres, per stress-free volume."""
        strain = self.elastic(F, deposited=members.deposited)
        law = members.law
        ψ = ENERGIES[law](strain, *self.fields.law_arguments(law))
        if self.fields.film is not None:
            fraction, μ = self.fields.film
            ψ = (1 - fraction) * ψ + fraction * μ / 2 * (ufl.tr(strain.C) - 3)
        if self.fields.fibres is not None:
            ψ += self._fibre_energy(strain)
        return ψ

    def volumetric_energy(self) -> Expr:
        """Energy p²/(2κ) of a change of volume, κ/2 (Je - 1)² where p = κ (1 - Je)."""
        return self.fields.compliance / 2 * self.unknowns[1] ** 2

    def nominal_field(self) -> Expr | None:
        """E0 in the drawn configuration, kV/mm; ``None`` without electrodes."""
        if not self.model.electrodes:
            return None
        if self.model.solved_potential:
            return -kinematics.scalar_gradient(self.unknowns[2], self.model.axisymmetric)
        return self.fields.sheet_field * self.frame[0]

    def field_energy(self, F: Expr, *, deposited: bool = False) -> Expr | None:
        """½ ε J |F⁻ᵀ E0|² per drawn volume, mJ/mm³; ``None`` without electrodes."""
        E0 = self.nominal_field()
        if E0 is None:
            return None
        return (
            self.fields.permittivity / 2 * kinematics.field_measure(F, E0, self.growth(deposited=deposited))
        )

    def sheet_capacity(self, *, deposited: bool = False) -> Expr:
        """ε J |F⁻ᵀ n|² per drawn volume, N/kV²: twice the energy at a unit nominal field along the normal."""
        return self.fields.permittivity * kinematics.field_measure(
            self.F, self.frame[0], self.growth(deposited=deposited)
        )

    def material_energy(self, members: Members, F: Expr) -> Expr:
        """Det G [ψ - p (Je - 1) - p²/(2κ)] per drawn volume."""
        deposited = members.deposited
        p, Je = self.unknowns[1], self.elastic(F, deposited=deposited).J
        ψ = self.stored_energy(members, F)
        return self.growth(deposited=deposited) * (ψ - p * (Je - 1) - self.volumetric_energy())

    def density(self, members: Members, F: Expr) -> Expr:
        """Potential per drawn volume of some cells, as a function of F."""
        W = self.material_energy(members, F)
        U = self.field_energy(F, deposited=members.deposited)
        return W if U is None else W - U

    def internal_energy(self) -> ufl.Form:
        """Π without the lumen and the axial forces."""
        F = self.F
        Π = 0
        for i, members in enumerate(self.fields.laws, start=1):
            Π += self.density(members, F) * self.weight * self.dx(i)
        for bed, k in zip(self.model.beds, self.fields.bed_stiffness, strict=True):
            Π += k / 2 * self._bed_motion(bed) * self.weight * self.ds(self.surface_ids[bed.region])
        for contact in self.model.contacts:
            Π += self._closing(contact) * self.weight * self.ds(self.surface_ids[contact.surface])
        return Π

    def volume(self) -> ufl.Form:
        """Enclosed volume V(u) of the modelled piece by ∫ ½ x⊥·n da, exact while the ends stay plane."""
        x = self._x + self.unknowns[0]
        across = [x[0], 0, 0] if self.model.axisymmetric else [x[0], x[1], 0]
        return -ufl.inner(ufl.as_vector(across) / 2, self.area_vector()) * self.weight * self._lumen()

    def volume_gradient(self, v: Expr, *, closed: bool) -> ufl.Form:
        """δV for a virtual displacement v.

        Args:
            v: Test function of the displacement.
            closed: True takes the derivative of V, which includes the thrust on end plates; False the work of
                the pressure on the wall alone, the same where the ends of the lumen slide in their planes.
        """
        if closed:
            return ufl.derivative(self.volume(), self.unknowns[0], v)
        v3 = ufl.as_vector([v[0], 0, v[1]]) if self.model.axisymmetric else v
        return -ufl.inner(v3, self.area_vector()) * self.weight * self._lumen()

    def mean_axial(self, surface: str, w: Expr) -> ufl.Form:
        """∫ w_Z dA over a named surface in the reference configuration (divide by its area)."""
        return w[len(w) - 1] * self.weight * self.ds(self.surface_ids[surface])

    def area(self, surface: str) -> ufl.Form:
        """Reference area of a named surface."""
        return fem.Constant(self.mesh.domain, 1.0) * self.weight * self.ds(self.surface_ids[surface])

    def area_vector(self) -> Expr:
        """cof(F) N: current area vector per reference area (Nanson)."""
        N = ufl.FacetNormal(self.mesh.domain)
        N3 = ufl.as_vector([N[0], 0, N[1]]) if self.model.axisymmetric else N
        return kinematics.cofactor(self.F) * N3

    def _lumen(self) -> Any:
        return self.ds(self.surface_ids["lumen"])

    def contact_gap(self, contact: Contact) -> Expr:
        """Gap of a contact at its surface, mm."""
        i = self.model.contacts.index(contact)
        position, place = self.fields.obstacles[i], self._contact_places[i]
        return gap(contact.kind, self._x + self.unknowns[0], position, place, self.model.axisymmetric)

    def _closing(self, contact: Contact) -> Expr:
        k = self.contact_stiffness[self.model.contacts.index(contact)]
        return closing_energy(self.contact_gap(contact), k)

    def _bed_motion(self, bed: TissueBed) -> Expr:
        u = self.unknowns[0]
        return (
            ufl.inner(u, u)
            if bed.direction == "all"
            else ufl.inner(u, ufl.FacetNormal(self.mesh.domain)) ** 2
        )

    def _fibre_energy(self, strain: kinematics.Strain) -> Expr:
        assert self.fields.fibres is not None
        assert self.fields.fibre_share is not None
        along, across, k1, k2 = self.fields.fibres
        _, hoop, axial = self.frame
        pair = [fibre_family(strain, k1, k2, along * hoop + sign * across * axial) for sign in (1, -1)]
        share = self.fields.fibre_share
        return share * pair[0] + (1 - share) * pair[1]

    def _nodal(self, values: FloatArray) -> fem.Function:
        f = fem.Function(self.spaces[0])
        f.x.array[:] = values[self.node_of_dof].ravel()
        return f

    def _loaded_surfaces(self) -> list[str]:
        """Outer surfaces that may carry a load, in a fixed order."""
        names = [name for name in ("lumen", "end_low", "end_high") if name in self.model.body.surfaces]
        extra = [bed.region for bed in self.model.beds] + [c.surface for c in self.model.contacts]
        return names + [name for name in dict.fromkeys(extra) if name not in names]


def _hoop(body: Body) -> FloatArray:
    if body.hoop is None:
        raise InputError("a three-dimensional body needs its hoop directions", key="hoop")
    return body.hoop
