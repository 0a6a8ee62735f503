# SPDX-License-Identifier: MIT
"""How each kind of load enters the equations: values in force, external forces, rates of the residual."""

import math
from abc import ABC, abstractmethod
from collections.abc import Iterator
from functools import cached_property

import numpy as np
import ufl
from dolfinx import fem
from mpi4py import MPI
from petsc4py import PETSc

from annelid.solver.assembly.equations import Equations, assemble, zero_vector
from annelid.solver.assembly.lumen_sections import LumenSections
from annelid.solver.assembly.sheet_field import SheetField
from annelid.solver.energy import forms
from annelid.solver.energy.problem import Problem
from annelid.solver.model.loads import Loads


class LoadOperator(ABC):
    """One kind of load in the equations of a problem.

    Loads that enter through the potential need ``apply`` and ``add_rate`` alone. Prescribed displacements and
    the electrode voltages of a solved potential are fixed unknowns, see ``DirichletConditions``.
    """

    def __init__(self, problem: Problem, equations: Equations) -> None:
        self.problem = problem
        self.equations = equations

    def apply(self, loads: Loads) -> None:  # noqa: B027 (nothing to do for forces outside of the potential)
        """Put the values in force into the constants and fields of the problem."""

    def assemble(self) -> None:  # noqa: B027
        """Assemble forces that depend on the unknowns, at the present ones."""

    @abstractmethod
    def add_rate(self, rate: Loads, out: PETSc.Vec) -> None:
        """Add -∂R/∂s for loads that change at a rate, at the present unknowns."""

    def add_force(self, loads: Loads, factor: float, out: PETSc.Vec) -> None:  # noqa: B027
        """Add a multiple of the external forces that are not in the potential, at the present unknowns."""

    def force_norm(self, loads: Loads) -> float:
        """Norm of the external forces on the modelled piece, N; 0 for loads that are no force."""
        return 0.0

    def _add_assembled(self, compiled: list, factor: float, out: PETSc.Vec) -> None:
        vector = zero_vector(self.problem)
        assemble(vector, compiled, self.problem)
        out.axpy(factor, vector)
        vector.destroy()


class FluidPressures(LoadOperator):
    """Pressures P of fluids, in the lumen and on other surfaces, which follow the surfaces.

    Attributes:
        f: ∂V/∂u of each surface, the load vectors at the unknowns at which ``assemble`` was called last.
        core: Radius in force of the widest cylinder in a lumen with sections, mm; 0 without one.
    """

    def __init__(self, problem: Problem, equations: Equations) -> None:
        super().__init__(problem, equations)
        self.f = {surface: zero_vector(problem) for surface in equations.volume_gradients}
        self._uneven = zero_vector(problem)
        self.core = 0.0

    @cached_property
    def sections(self) -> LumenSections:
        """Sections of the lumen with pressures of their own."""
        return LumenSections(self.problem, self.problem.model.sections_of_flow)

    def apply(self, loads: Loads) -> None:
        """Set the pressures of the tangent."""
        for surface, P in self.problem.pressures.items():
            P.value = loads.pressures.get(surface, 0.0)
        if self.equations.section_force is not None:
            self.sections.set_pressures(np.array(loads.sections or [0.0] * self.sections.count))
            positions = (loads.obstacles.get(c.name, c.position) for c in self.problem.model.seals)
            self.core = max(positions, default=0.0)

    def assemble(self) -> None:
        """Assemble the load vectors at the present unknowns."""
        for surface, f in self.f.items():
            self.assemble_one(surface, f)
        if self.equations.section_force is not None:
            assemble(self._uneven, [self.equations.section_force], self.problem)
            if self.core:
                self.sections.add_core_force(-math.pi * self.core**2, self._uneven)

    def assemble_one(self, surface: str, out: PETSc.Vec) -> None:
        """Write the load vector of one surface at the present unknowns."""
        assemble(out, [self.equations.volume_gradients[surface]], self.problem)

    def add_force(self, loads: Loads, factor: float, out: PETSc.Vec) -> None:
        """Σ P f."""
        for surface, f in self.f.items():
            out.axpy(factor * loads.pressures.get(surface, 0.0), f)
        if loads.sections:
            out.axpy(factor, self._uneven)

    def add_rate(self, rate: Loads, out: PETSc.Vec) -> None:
        """Rates of P times f."""
        if any(rate.pressures.values()):
            self.add_force(rate, 1.0, out)

    def force_norm(self, loads: Loads) -> float:
        """Σ |P| ‖f‖."""
        even = sum(abs(loads.pressures.get(surface, 0.0)) * f.norm() for surface, f in self.f.items())
        return even + (self._uneven.norm() if loads.sections else 0.0)


class SheetVoltage(LoadOperator):
    """Nominal field V/t of the layered model."""

    def __init__(self, problem: Problem, equations: Equations) -> None:
        super().__init__(problem, equations)
        self.sheet_field = SheetField(problem)

    def apply(self, loads: Loads) -> None:
        """Set the field of every sheet."""
        self.sheet_field.write(self.problem.fields.sheet_field, loads.voltages)

    @cached_property
    def _rate(self) -> tuple[fem.Function, list]:
        field = self.problem.fields.sheet_field
        rate = fem.Function(field.function_space)
        return rate, self.equations.rate_forms([field], [rate], blocks=1)

    @property
    def acts(self) -> bool:
        """Whether there are sheets whose field is given."""
        return bool(self.problem.model.electrodes) and not self.problem.model.solved_potential

    def add_rate(self, rate: Loads, out: PETSc.Vec) -> None:
        """By the rate of the field."""
        if self.acts and any(rate.voltages.values()):
            field, compiled = self._rate
            self.sheet_field.write(field, rate.voltages)
            self._add_assembled(compiled, -1.0, out)


class ObstaclePosition(LoadOperator):
    """Position of rigid obstacles."""

    def apply(self, loads: Loads) -> None:
        """Set the position of each obstacle."""
        for contact, position in zip(self.problem.model.contacts, self.problem.fields.obstacles, strict=True):
            position.x.array[:] = loads.obstacles.get(contact.name, contact.position)

    @cached_property
    def _rates(self) -> tuple[list[fem.Function], list]:
        positions = self.problem.fields.obstacles
        rates = [fem.Function(position.function_space) for position in positions]
        return rates, self.equations.rate_forms(positions, rates, blocks=1)

    def add_rate(self, rate: Loads, out: PETSc.Vec) -> None:
        """By the rate of the positions."""
        if any(rate.obstacles.values()):
            rates, compiled = self._rates
            for contact, d in zip(self.problem.model.contacts, rates, strict=True):
                d.x.array[:] = rate.obstacles.get(contact.name, 0.0)
            self._add_assembled(compiled, -1.0, out)


class DeadForces(LoadOperator):
    """Dead forces on surfaces, along the axis or away from it, evenly over the drawn area."""

    def __init__(self, problem: Problem, equations: Equations) -> None:
        super().__init__(problem, equations)
        self._unit: dict[tuple[str, str], PETSc.Vec] = {}

    def unit(self, surface: str, direction: str) -> PETSc.Vec:
        """∂ū/∂u of the mean axial or radial motion of a surface; constant, assembled once."""
        if (surface, direction) not in self._unit:
            problem = self.problem
            v = ufl.TestFunction(problem.spaces[0])
            area = fem.assemble_scalar(forms.compile_forms(problem.area(surface)))
            vector = zero_vector(problem)
            assemble(vector, [forms.compile_forms(problem.mean_motion(surface, v, direction))], problem)
            vector.scale(1 / float(problem.comm.allreduce(area, op=MPI.SUM)))
            self._unit[surface, direction] = vector
        return self._unit[surface, direction]

    def _forces(self, loads: Loads) -> Iterator[tuple[float, PETSc.Vec]]:
        """Each force on the modelled piece, N, and ∂ū/∂u of the motion on which it does work."""
        for direction, forces in (("axial", loads.forces), ("radial", loads.radial_forces)):
            for surface, force in forces.items():
                yield force / self.problem.model.body.multiplicity, self.unit(surface, direction)

    def add_force(self, loads: Loads, factor: float, out: PETSc.Vec) -> None:
        """Forces of the whole part on the modelled piece."""
        for force, unit in self._forces(loads):
            out.axpy(factor * force, unit)

    def add_rate(self, rate: Loads, out: PETSc.Vec) -> None:
        """Rates of the forces."""
        self.add_force(rate, 1.0, out)

    def force_norm(self, loads: Loads) -> float:
        """Sum of the norms of the forces."""
        return sum(abs(force) * unit.norm() for force, unit in self._forces(loads))


class Torques(LoadOperator):
    """Dead torques about the axis on end surfaces."""

    def apply(self, loads: Loads) -> None:
        """Set the torque on each end."""
        for end, rotation in self.problem.rotations.items():
            rotation.torque.value = loads.torques.get(end, 0.0)

    @cached_property
    def _rates(self) -> dict[str, fem.Form]:
        """∂θ̄/∂u of each end."""
        u, v = self.problem.unknowns[0], ufl.TestFunction(self.problem.spaces[0])
        ends = self.problem.rotations.items()
        return {end: forms.compile_forms(ufl.derivative(rotation.mean, u, v)) for end, rotation in ends}

    def add_rate(self, rate: Loads, out: PETSc.Vec) -> None:
        """Rates of the torques."""
        for end, torque in rate.torques.items():
            if torque:
                self._add_assembled([self._rates[end]], torque, out)

    def force_norm(self, loads: Loads) -> float:
        """Norm of the forces of the torques, to which they are proportional."""
        if not any(loads.torques.values()):
            return 0.0
        vector = zero_vector(self.problem)
        self.add_rate(loads, vector)
        norm = float(vector.norm())
        vector.destroy()
        return norm


class Gravity(LoadOperator):
    """Weight of the parts, less the buoyancy in a fluid around."""

    def apply(self, loads: Loads) -> None:
        """Set the acceleration."""
        self.problem.gravity.value = self._vector(loads)

    def _vector(self, loads: Loads) -> list[float]:
        dimension = len(self.problem.gravity.value)
        across = ("x", "y") if dimension == 3 else ("",)
        return [loads.gravity.get(direction, 0.0) for direction in (*across, "axial")]

    @cached_property
    def _rate(self) -> tuple[fem.Constant, list]:
        problem = self.problem
        g = fem.Constant(problem.mesh.domain, [0.0] * len(problem.gravity.value))
        v = ufl.TestFunction(problem.spaces[0])
        work = sum(
            problem.weight_work(group, g, v) * problem.revolution * problem.dx(i)
            for i, group in enumerate(problem.fields.groups, start=1)
        )
        return g, [forms.compile_forms(work)]

    def add_rate(self, rate: Loads, out: PETSc.Vec) -> None:
        """Weight at the rate of the acceleration."""
        if self.problem.fields.density is not None and any(rate.gravity.values()):
            g, compiled = self._rate
            g.value = self._vector(rate)
            self._add_assembled(compiled, 1.0, out)

    def force_norm(self, loads: Loads) -> float:
        """Norm of the weight, which goes linearly with the acceleration."""
        if not any(loads.gravity.values()):
            return 0.0
        vector = zero_vector(self.problem)
        self.add_rate(Loads(gravity=loads.gravity, natural=0.0), vector)
        norm = float(vector.norm())
        vector.destroy()
        return norm


class NaturalStretchRamp(LoadOperator):
    """Natural stretch, brought into force by a fraction."""

    def apply(self, loads: Loads) -> None:
        """Set the natural stretch of every part."""
        self.problem.fields.set_natural(loads.natural)

    @cached_property
    def _rates(self) -> tuple[list[fem.Function], list]:
        natural = self.problem.fields.natural or ()
        rates = [fem.Function(g.function_space) for g in natural]
        return rates, self.equations.rate_forms(natural, rates, blocks=2)

    def add_rate(self, rate: Loads, out: PETSc.Vec) -> None:
        """By the rate of the components."""
        if rate.natural and self.problem.fields.natural is not None:
            rates, compiled = self._rates
            for dg, (_, _, change) in zip(rates, self.problem.fields.natural_changes(), strict=True):
                dg.x.array[:] = rate.natural * change
            self._add_assembled(compiled, -1.0, out)


OPERATORS: tuple[type[LoadOperator], ...] = (
    FluidPressures,
    SheetVoltage,
    ObstaclePosition,
    DeadForces,
    Torques,
    Gravity,
    NaturalStretchRamp,
)
"""They hold all kinds of load but those that are fixed unknowns."""
