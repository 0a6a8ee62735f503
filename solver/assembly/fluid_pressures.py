# SPDX-License-Identifier: MIT
"""Pressures of fluids in the equations."""

import math
from functools import cached_property

import numpy as np
from petsc4py import PETSc

from annelid.solver.assembly.equations import Equations, assemble, zero_vector
from annelid.solver.assembly.load_operator import LoadOperator
from annelid.solver.assembly.lumen_sections import LumenSections
from annelid.solver.energy.problem import Problem
from annelid.solver.model.loads import Loads


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
