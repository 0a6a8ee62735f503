# SPDX-License-Identifier: MIT
"""Dead forces, torques and weight in the equations."""

from collections.abc import Iterator
from functools import cached_property

import ufl
from dolfinx import fem
from mpi4py import MPI
from petsc4py import PETSc

from annelid.solver.assembly.equations import Equations, assemble, zero_vector
from annelid.solver.assembly.load_operator import LoadOperator
from annelid.solver.energy import forms
from annelid.solver.energy.problem import Problem
from annelid.solver.model.loads import Loads


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
        return self._rate_norm(loads)


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
        return self._rate_norm(Loads(gravity=loads.gravity, natural=0.0))
