# SPDX-License-Identifier: MIT
"""How the out-of-balance forces change with the loads: -∂R/∂s."""

import ufl
from dolfinx import fem
from dolfinx.fem import petsc as fem_petsc
from mpi4py import MPI
from petsc4py import PETSc

from annelid.solver.assembly.dirichlet import Held
from annelid.solver.assembly.equations import Equations, assemble, zero_vector
from annelid.solver.assembly.sheet_field import SheetField
from annelid.solver.energy import forms
from annelid.solver.energy.problem import Problem
from annelid.solver.energy.stretch_fields import unstretched
from annelid.solver.model.loads import Loads


class LoadRates:
    """Load derivatives of a problem at its present unknowns."""

    def __init__(self, problem: Problem, equations: Equations, held: Held, sheet_field: SheetField) -> None:
        self._problem = problem
        self._equations = equations
        self._held = held
        self._sheet_field = sheet_field
        self._axial: dict[str, PETSc.Vec] = {}

    def write(self, rate: Loads, pressure_force: PETSc.Vec, out: PETSc.Vec) -> None:
        """Write -∂R/∂s to ``out``, prescribed unknowns lifted.

        Args:
            rate: ∂loads/∂s.
            pressure_force: The pressure's load vector f.
            out: Laid out like the unknowns.
        """
        out.set(0.0)
        if rate.natural or any(rate.voltages.values()) or any(rate.obstacles.values()):
            self._of_parameters(rate, out)
        if self._equations.volume_gradient is not None and rate.pressure:
            out.axpy(rate.pressure, pressure_force)
        for surface, force in rate.forces.items():
            out.axpy(force / self._problem.model.body.multiplicity, self.axial(surface))
        if self._held.moves(rate):
            self._lift(rate, out)
        else:
            self._held.zero(out)

    def lifted(self, rate: Loads) -> PETSc.Vec:
        """-K times the prescribed unknowns of a rate, on all rows, at the present unknowns."""
        lifted = zero_vector(self._problem)
        with self._held.moving(rate):
            fem_petsc.apply_lifting(lifted, self._equations.tangent, bcs=self._held.by_block)
        lifted.ghostUpdate(PETSc.InsertMode.ADD, PETSc.ScatterMode.REVERSE)
        return lifted

    def axial(self, surface: str) -> PETSc.Vec:
        """∂ū/∂u of the mean axial motion of a surface; constant, assembled once."""
        if surface not in self._axial:
            problem = self._problem
            v = ufl.TestFunction(problem.spaces[0])
            area = fem.assemble_scalar(forms.compile_forms(problem.area(surface)))
            vector = zero_vector(problem)
            assemble(vector, [forms.compile_forms(problem.mean_axial(surface, v))], problem)
            vector.scale(1 / float(problem.comm.allreduce(area, op=MPI.SUM)))
            self._axial[surface] = vector
        return self._axial[surface]

    def _of_parameters(self, rate: Loads, out: PETSc.Vec) -> None:
        equations, fields = self._equations, self._problem.fields
        if equations.field_rate is not None:
            self._sheet_field.write(equations.field_rate, rate.voltages)
        none = unstretched(len(fields.full_natural))
        for dg, full, one in zip(equations.natural_rate or (), fields.full_natural, none, strict=False):
            dg.x.array[:] = rate.natural * (full - one)
        for contact, d in zip(self._problem.model.contacts, equations.obstacle_rates, strict=True):
            d.x.array[:] = rate.obstacles.get(contact.name, 0.0)
        assemble(out, equations.rates, self._problem)
        out.scale(-1.0)

    def _lift(self, rate: Loads, out: PETSc.Vec) -> None:
        lifted = self.lifted(rate)
        out.axpy(1.0, lifted)
        lifted.destroy()
        with self._held.moving(rate):
            self._held.set(out)
