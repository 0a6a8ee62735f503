# SPDX-License-Identifier: MIT
"""What a kind of load does in the equations."""

from abc import ABC, abstractmethod

from petsc4py import PETSc

from annelid.solver.assembly.equations import Equations, assemble, zero_vector
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

    def _rate_norm(self, rate: Loads) -> float:
        """Norm of the rate of the forces, which is that of forces to which the loads are proportional."""
        vector = zero_vector(self.problem)
        self.add_rate(rate, vector)
        norm = float(vector.norm())
        vector.destroy()
        return norm
