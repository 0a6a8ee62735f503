# SPDX-License-Identifier: MIT
"""Charge on electrodes that share one voltage V, as the work conjugate Q = -∂Π/∂V, and its derivatives."""

from abc import ABC, abstractmethod

import numpy as np
import ufl
from dolfinx import fem
from petsc4py import PETSc

from annelid.geometry.body import IntArray
from annelid.solver.assembly.blocks import POTENTIAL
from annelid.solver.assembly.system import System
from annelid.solver.energy import forms
from annelid.solver.energy.problem import QUADRATURE_DEGREE, Problem
from annelid.solver.model.loads import Loads


class Charge(ABC):
    """Charge on some electrodes of the whole part, uC, at the present unknowns and loads.

    Attributes:
        system: The equations.
        electrodes: Names.
        rate: Loads that change by 1 kV on these electrodes.
    """

    def __init__(self, system: System, electrodes: tuple[str, ...]) -> None:
        self.system = system
        self.electrodes = electrodes
        self.rate = Loads(voltages=dict.fromkeys(electrodes, 1.0), natural=0.0)
        self.multiplicity = system.problem.model.body.multiplicity

    @abstractmethod
    def value(self) -> float:
        """Q."""

    @abstractmethod
    def slope(self) -> float:
        """∂Q/∂V at fixed unknowns, nF."""

    def gradient(self, out: PETSc.Vec) -> None:
        """∂Q/∂x = -∂²Π/∂x∂V = -∂R/∂V on the free unknowns, written to ``out``."""
        self.system.load_rate(self.rate, out)
        self.system.zero_fixed(out)
        out.scale(self.multiplicity)


class SheetCharge(Charge):
    """Charge of the layered model: Q = Σ C V."""

    def __init__(self, system: System, electrodes: tuple[str, ...]) -> None:
        super().__init__(system, electrodes)
        self._form = capacity_form(system.problem)

    def value(self) -> float:
        """Q = Σ C V."""
        voltages = self.system.loads.voltages
        return sum(self._capacitance(name) * voltages.get(name, 0.0) for name in self.electrodes)

    def slope(self) -> float:
        """The capacitance at fixed shape."""
        return sum(self._capacitance(name) for name in self.electrodes)

    def _capacitance(self, electrode: str) -> float:
        mesh = self.system.problem.mesh
        cells = mesh.cells_of(self.system.problem.model.body.bands[electrode])
        field = self.system.sheet_field({electrode: 1.0})[mesh.original_cells]
        twice_energy = fem.assemble_vector(self._form).array
        return self.system.sum(float((twice_energy[cells] * field[cells] ** 2).sum())) * self.multiplicity


class FaceCharge(Charge):
    """Charge of the solved potential: the rows of ∂Π/∂φ on the hot faces."""

    def value(self) -> float:
        """Q = -Σ ∂Π/∂φ over the hot faces, each node once, of the residual assembled last."""
        return -self._sum(self.system.blocks.part(self.system.raw, POTENTIAL))

    def slope(self) -> float:
        """-1ᵀ K 1 over the hot faces: the capacitance at fixed shape and fixed potential inside."""
        return self._sum(self.system.blocks.part(self.system.lifted(self.rate), POTENTIAL))

    def _sum(self, rows: np.ndarray) -> float:
        return self.system.sum(float(rows[self._hot].sum())) * self.multiplicity

    @property
    def _hot(self) -> IntArray:
        space = self.system.problem.spaces[2]
        fixed = [
            bc.dof_indices()[0] for name, bc, _ in self.system.dirichlet.voltages if name in self.electrodes
        ]
        dofs = np.unique(np.concatenate(fixed))
        return dofs[dofs < space.dofmap.index_map.size_local]


def capacity_form(problem: Problem) -> fem.Form:
    """∫ ε J |F⁻ᵀ n|² of every cell, N/kV² mm³: twice its energy at a unit nominal field of the sheets."""
    cellwise = ufl.TestFunction(problem.fields.compliance.function_space)
    dx = ufl.dx(problem.mesh.domain, metadata={"quadrature_degree": QUADRATURE_DEGREE})
    where: dict[bool, ufl.Measure] = {False: dx}
    if problem.deposition is not None:
        laws = list(enumerate(problem.fields.groups, start=1))
        where = {
            deposited: problem.dx(tuple(i for i, m in laws if m.deposited == deposited))
            for deposited in (False, True)
        }
    return forms.compile_forms(
        sum(
            problem.sheet_capacity(deposited=deposited) * cellwise * problem.revolution * dx
            for deposited, dx in where.items()
        )
    )


def charge_of(system: System, electrodes: tuple[str, ...]) -> Charge:
    """The charge on some electrodes of a system, layered or solved."""
    solved = system.problem.model.solved_potential
    return FaceCharge(system, electrodes) if solved else SheetCharge(system, electrodes)
