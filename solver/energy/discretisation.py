# SPDX-License-Identifier: MIT
"""What a potential is written in: the unknowns, parameter fields and measures of a model on its mesh."""

from typing import Any

import basix.ufl
import numpy as np
import ufl
from dolfinx import fem
from dolfinx.fem import petsc as fem_petsc
from mpi4py import MPI
from ufl.core.expr import Expr

from annelid.geometry.body import Body, FloatArray
from annelid.geometry.errors import InputError
from annelid.solver.energy import kinematics
from annelid.solver.energy.folds import Folds
from annelid.solver.energy.mesh import MeshedBody, mesh_body
from annelid.solver.energy.properties import Properties, properties_of
from annelid.solver.energy.rotation import EndRotation
from annelid.solver.energy.spaces import pressure_space
from annelid.solver.energy.stretch_fields import turning
from annelid.solver.model.model import Model


class Discretisation:
    """Unknowns, parameter fields and measures.

    Attributes:
        model: What is solved.
        rule: Metadata of its integrals: the quadrature rule.
        mesh: The DOLFINx mesh.
        spaces: Function spaces of u, p and, with a solved potential, φ.
        layout: Vector of the unknowns (u, p[, φ]), of which others are made.
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
        self.layout = fem_petsc.create_vector(self.spaces)
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
