# SPDX-License-Identifier: MIT
"""Charge on electrodes that share one voltage V, as the work conjugate Q = -∂Π/∂V, and its derivatives."""

from abc import ABC, abstractmethod
from functools import cached_property

import numpy as np
import ufl
from dolfinx import fem
from mpi4py import MPI
from numpy.typing import NDArray
from petsc4py import PETSc

from annelid.geometry.body import FloatArray
from annelid.geometry.errors import raise_first
from annelid.solver.assembly.blocks import POTENTIAL
from annelid.solver.assembly.system import System
from annelid.solver.energy import forms
from annelid.solver.energy.problem import Problem
from annelid.solver.model.fold_checks import check_folds
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

    def value(self) -> float:
        """Q of all electrodes."""
        return float(self.each().sum())

    @abstractmethod
    def each(self) -> FloatArray:
        """Q of each electrode, shape (k,), uC; collective."""

    @abstractmethod
    def slope(self) -> float:
        """∂Q/∂V at fixed unknowns, nF."""

    @abstractmethod
    def slopes(self) -> FloatArray:
        """The same of each electrode at its own voltage, shape (k,), nF; collective."""

    def gradient(self, out: PETSc.Vec) -> None:
        """∂Q/∂x = -∂²Π/∂x∂V = -∂R/∂V on the free unknowns, written to ``out``."""
        self.system.load_rate(self.rate, out)
        self.system.zero_fixed(out)
        out.scale(self.multiplicity)


class SheetCharge(Charge):
    """Charge of the layered model: Q = Σ C V."""

    def __init__(self, system: System, electrodes: tuple[str, ...]) -> None:
        super().__init__(system, electrodes)
        model = system.problem.model
        for part in model.folding:  # its folds answer to a voltage at fixed unknowns, which slopes leave out
            if part.sheets is not None:
                raise_first(check_folds(model.parts, model.inventory, charged=True))
        self._form = capacity_form(system.problem)

    def each(self) -> FloatArray:
        """C V."""
        voltages = self.system.loads.voltages
        return self.slopes() * [voltages.get(name, 0.0) for name in self.electrodes]

    def slope(self) -> float:
        """The capacitance at fixed shape."""
        return float(self.slopes().sum())

    def slopes(self) -> FloatArray:
        """Capacitance of each electrode at fixed shape."""
        twice_energy = fem.assemble_vector(self._form).array
        own = [twice_energy[cells] @ field**2 for cells, field in self._cells]
        total = self.system.problem.comm.allreduce(np.array(own), op=MPI.SUM)
        return np.asarray(total * self.multiplicity)

    @cached_property
    def _cells(self) -> list[tuple[NDArray[np.int32], FloatArray]]:
        """Cells of each electrode on this rank, and their nominal field at 1 kV, kV/mm."""
        mesh, bands = self.system.problem.mesh, self.system.problem.model.body.bands
        found = []
        for name in self.electrodes:
            cells = mesh.cells_of(bands[name])
            found.append((cells, self.system.sheet_field({name: 1.0})[mesh.original_cells[cells]]))
        return found


class FaceCharge(Charge):
    """Charge of the solved potential: the rows of ∂Π/∂φ on the hot faces."""

    def value(self) -> float:
        """Q = -Σ ∂Π/∂φ over the hot faces, each node once, of the residual assembled last."""
        return -self._sum(self.system.blocks.part(self.system.raw, POTENTIAL), self.electrodes)

    def each(self) -> FloatArray:
        """The same for each electrode."""
        rows = self.system.blocks.part(self.system.raw, POTENTIAL)
        return np.array([-self._sum(rows, (name,)) for name in self.electrodes])

    def slope(self) -> float:
        """-1ᵀ K 1 over the hot faces: the capacitance at fixed shape and fixed potential inside."""
        return self._slope(self.electrodes)

    def slopes(self) -> FloatArray:
        """The same for each electrode."""
        return np.array([self._slope((name,)) for name in self.electrodes])

    def _slope(self, electrodes: tuple[str, ...]) -> float:
        lifted = self.system.lifted(Loads(voltages=dict.fromkeys(electrodes, 1.0), natural=0.0))
        return self._sum(self.system.blocks.part(lifted, POTENTIAL), electrodes)

    def _sum(self, rows: FloatArray, electrodes: tuple[str, ...]) -> float:
        space = self.system.problem.spaces[2]
        fixed = [bc.dof_indices()[0] for name, bc, _ in self.system.dirichlet.voltages if name in electrodes]
        dofs = np.unique(np.concatenate(fixed))
        hot = dofs[dofs < space.dofmap.index_map.size_local]
        return self.system.sum(float(rows[hot].sum())) * self.multiplicity


def capacity_form(problem: Problem) -> fem.Form:
    """∫ ε J |F⁻ᵀ n|² of every cell, N/kV² mm³: twice its energy at a unit nominal field of the sheets."""
    cellwise = ufl.TestFunction(problem.fields.compliance.function_space)
    dx = ufl.dx(problem.mesh.domain, metadata=problem.rule)
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
