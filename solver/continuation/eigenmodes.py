# SPDX-License-Identifier: MIT
"""Eigenmodes of the tangent nearest to zero stiffness, by SLEPc."""

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from petsc4py import PETSc

from annelid.solver.assembly.system import System
from annelid.solver.errors import NoEquilibrium

if TYPE_CHECKING:
    from slepc4py import SLEPc


@dataclass(frozen=True)
class Eigenmode:
    """A mode K v = μ M v, M the mass of unit density on the displacement.

    Attributes:
        stiffness: μ, MPa/mm²; negative is unstable.
        vector: v, laid out like the unknowns.
    """

    stiffness: float
    vector: PETSc.Vec


class _InverseStiffness:
    """v -> K⁻¹ M v with the tangent factorised last."""

    def __init__(self, system: System) -> None:
        self.system = system
        self._product = system.vector()

    def mult(self, _matrix: PETSc.Mat, v: PETSc.Vec, out: PETSc.Vec) -> None:
        self.system.mass.product(v, self._product)
        self.system.zero_fixed(self._product)
        self.system.solve(self._product, out)


def lowest_eigenmodes(system: System, count: int = 4) -> list[Eigenmode]:
    """Modes nearest to zero stiffness at the state factorised last, most unstable first.

    Args:
        system: Equations with a factorised tangent.
        count: How many to look for.

    Raises:
        NoEquilibrium: The eigensolver found none.
    """
    from slepc4py import SLEPc  # most paths meet no critical point and need not load it

    local, whole = system.x.getLocalSize(), system.x.getSize()
    operator = PETSc.Mat().createPython(((local, whole), (local, whole)), _InverseStiffness(system))
    operator.setUp()
    solver = SLEPc.EPS().create(system.problem.comm)
    solver.setOperators(operator)
    solver.setProblemType(SLEPc.EPS.ProblemType.NHEP)
    solver.setWhichEigenpairs(SLEPc.EPS.Which.LARGEST_MAGNITUDE)
    solver.setDimensions(count, max(20, 4 * count))
    solver.setTolerances(1e-8, 50)
    start = system.vector()
    system.residual.copy(start)
    rng = np.random.default_rng(1)
    start.array_w[:] = rng.standard_normal(local)
    system.zero_fixed(start)
    solver.setInitialSpace([start])
    solver.solve()
    modes = [_mode(system, solver, i) for i in range(solver.getConverged())]
    solver.destroy()
    operator.destroy()
    finite = [mode for mode in modes if np.isfinite(mode.stiffness)]
    if not finite:
        raise NoEquilibrium("the eigensolver found no mode")
    return sorted(finite, key=lambda mode: mode.stiffness)


def _mode(system: System, solver: "SLEPc.EPS", index: int) -> Eigenmode:
    vector = system.vector()
    value = solver.getEigenpair(index, vector)
    return Eigenmode(float(1 / value.real) if value.real else float("inf"), vector)
