# SPDX-License-Identifier: MIT
"""Integrals over a state: energies, charges, capacitances, contact forces, cell volumes."""

from functools import cached_property

import ufl
from dolfinx import fem

from annelid.geometry.body import FloatArray
from annelid.solver.assembly.charges import capacity_form
from annelid.solver.assembly.face_charges import FaceCharges
from annelid.solver.assembly.system import System
from annelid.solver.energy import forms
from annelid.solver.energy.problem import Problem
from annelid.solver.model.contact import Contact
from annelid.solver.readout.gathering import Gathering


class Integrals:
    """Compiled integrals of the present unknowns of a system, of the whole part."""

    def __init__(self, system: System, gathering: Gathering) -> None:
        self._system = system
        self._problem: Problem = system.problem
        self._gathering = gathering
        problem = self._problem
        solved = problem.model.solved_potential
        self._capacity = capacity_form(problem) if problem.model.electrodes and not solved else None
        self._face_charges = FaceCharges(system) if solved else None
        cellwise = ufl.TestFunction(problem.fields.compliance.function_space)
        self._strain_energy = forms.compile_forms(
            sum(
                cellwise * problem.strain_energy(group, problem.F) * problem.revolution * problem.dx(i)
                for i, group in enumerate(problem.fields.groups, start=1)
            )
        )
        dx = ufl.dx(problem.mesh.domain, metadata=problem.rule)
        self._volume = forms.compile_forms(cellwise * problem.revolution * dx)

    def read(self, voltages: dict[str, float]) -> dict[str, float]:
        """All but the cell volumes, of the whole part, complete on the first rank only; collective.

        Args:
            voltages: kV by electrode.

        Returns:
            By name: strain energy in all and by region (mJ), charge (uC) and capacitance (nF) by electrode,
            force (N) and present area (mm²) by contact.
        """
        return self._strain_energies() | self._electrical(voltages) | self._contacts()

    @cached_property
    def cell_volumes(self) -> FloatArray | None:
        """Reference volume of every cell of the modelled piece, mm³, on the first rank; collective."""
        return self._of_cells(self._volume)

    def _of_cells(self, form: fem.Form) -> FloatArray | None:
        """A cell-wise integral in body order on the first rank."""
        return self._gathering.cells(fem.assemble_vector(form).array[: self._problem.mesh.owned])

    def _strain_energies(self) -> dict[str, float]:
        body = self._problem.model.body
        stored = self._of_cells(self._strain_energy)
        if stored is None:
            return {}
        regions = {
            f"strain energy {region}": float(stored[members].sum()) * body.multiplicity
            for region, members in body.regions.items()
        }
        return {"strain energy": float(stored.sum()) * body.multiplicity} | regions

    def _electrical(self, voltages: dict[str, float]) -> dict[str, float]:
        if self._capacity is not None:
            return self._of_sheets(self._capacity, voltages)
        if self._face_charges is None:
            return {}
        found: dict[str, float] = {}
        for name, piece in self._face_charges.read().items():
            charge = piece * self._problem.model.body.multiplicity
            voltage = voltages.get(name, 0.0)
            found[f"charge {name}"] = charge
            found[f"capacitance {name}"] = charge / voltage if voltage else float("nan")
        return found

    def _of_sheets(self, capacity: fem.Form, voltages: dict[str, float]) -> dict[str, float]:
        """Capacitances and charges of the layered model."""
        body = self._problem.model.body
        cells = self._of_cells(capacity)
        if cells is None:
            return {}
        inverse = self._system.sheet_field(dict.fromkeys(body.bands, 1.0))
        found: dict[str, float] = {}
        for name, band in body.bands.items():
            capacitance = float((cells * inverse**2)[band].sum()) * body.multiplicity
            found[f"capacitance {name}"] = capacitance
            found[f"charge {name}"] = capacitance * voltages.get(name, 0.0)
        return found

    @cached_property
    def _contact_forms(self) -> list[tuple[fem.Form, fem.Form]]:
        """Contact force and area of each contact."""
        problem = self._problem
        return [
            (forms.compile_forms(_contact_force(problem, c)), forms.compile_forms(_contact_area(problem, c)))
            for c in problem.model.contacts
        ]

    def _contacts(self) -> dict[str, float]:
        model = self._problem.model
        found: dict[str, float] = {}
        for contact, (force, area) in zip(model.contacts, self._contact_forms, strict=True):
            for what, form in (("force", force), ("area", area)):
                piece = self._system.sum(fem.assemble_scalar(form))
                found[f"contact {what} {contact.name}"] = piece * model.body.multiplicity
        return found


def _contact_force(problem: Problem, contact: Contact) -> ufl.Form:
    """∫ p dA over the surface: sum of the contact pressure, N of the modelled piece."""
    k = problem.contact_stiffness[problem.model.contacts.index(contact)]
    pressure = k * ufl.max_value(-problem.contact_gap(contact), 0.0)
    return pressure * problem.revolution * problem.ds(problem.surface_ids[contact.surface])


def _contact_area(problem: Problem, contact: Contact) -> ufl.Form:
    """Present area in contact, mm² of the modelled piece."""
    n = problem.area_vector()
    touching = ufl.conditional(ufl.lt(problem.contact_gap(contact), 0.0), 1.0, 0.0)
    return (
        touching
        * ufl.sqrt(ufl.inner(n, n))
        * problem.revolution
        * problem.ds(problem.surface_ids[contact.surface])
    )
