# SPDX-License-Identifier: MIT
"""Eigenmodes of the tangent nearest to zero stiffness, by SLEPc."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from petsc4py import PETSc

from annelid.solver.assembly.blocks import DISPLACEMENT
from annelid.solver.assembly.system import System
from annelid.solver.errors import NoEquilibrium

if TYPE_CHECKING:
    from slepc4py import SLEPc


@dataclass(frozen=True)
class Eigenmode:
    """A mode K v = μ M v, M the mass of unit density on the displacement.

    Attributes:
        stiffness: μ, MPa/mm²; negative is unstable.
        vector: v, laid out like the unknowns. Its sense is the same on all meshes.
    """

    stiffness: float
    vector: PETSc.Vec


Solve = Callable[[PETSc.Vec, PETSc.Vec], None]
"""Writes the motion under some forces, the first vector, to the second one."""


class _InverseStiffness:
    """v -> K⁻¹ M v with the tangent factorised last."""

    def __init__(self, system: System, solve: Solve) -> None:
        self.system = system
        self._solve = solve
        self._product = system.vector()

    def mult(self, _matrix: PETSc.Mat, v: PETSc.Vec, out: PETSc.Vec) -> None:
        self.system.mass.product(v, self._product)
        self.system.zero_fixed(self._product)
        self._solve(self._product, out)


def lowest_eigenmodes(system: System, count: int = 4, *, solve: Solve | None = None) -> list[Eigenmode]:
    """Modes nearest to zero stiffness at the state factorised last, most unstable first.

    Args:
        system: Equations with a factorised tangent.
        count: How many to look for.
        solve: Motion under forces where more than loads is held, by default K⁻¹ times the forces.

    Raises:
        NoEquilibrium: The eigensolver found none.
    """
    from slepc4py import SLEPc  # most paths meet no critical point and need not load it

    local, whole = system.x.getLocalSize(), system.x.getSize()
    operator = PETSc.Mat().createPython(
        ((local, whole), (local, whole)), _InverseStiffness(system, solve or system.solve)
    )
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
    uneven = _uneven(system)
    modes = [_mode(system, solver, i, uneven) for i in range(solver.getConverged())]
    for done in (uneven, solver, operator):
        done.destroy()
    finite = [mode for mode in modes if np.isfinite(mode.stiffness)]
    if not finite:
        raise NoEquilibrium("the eigensolver found no mode")
    return sorted(finite, key=lambda mode: mode.stiffness)


def softest_mode(system: System, *, solve: Solve | None = None) -> Eigenmode:
    """The mode of smallest stiffness in size at the state factorised last; ``solve`` as above."""
    return min(lowest_eigenmodes(system, solve=solve), key=lambda mode: abs(mode.stiffness))


def _mode(system: System, solver: "SLEPc.EPS", index: int, uneven: PETSc.Vec) -> Eigenmode:
    vector = system.vector()
    value = solver.getEigenpair(index, vector)
    vector.scale(float(np.sign(vector.dot(uneven))) or 1.0)
    return Eigenmode(float(1 / value.real) if value.real else float("inf"), vector)


def _uneven(system: System) -> PETSc.Vec:
    """Forces that widen a part and drive it upwards, most at its lower end and towards +X and +Y.

    Their work on a mode gives it a sense. That of the eigensolver differs between meshes and numbers of
    ranks, and with it the shape in which a part buckles.
    """
    problem, field = system.problem, system.vector()
    points = problem.model.body.points[problem.node_of_dof[: problem.spaces[0].dofmap.index_map.size_local]]
    size = np.ptp(problem.model.body.points, axis=0).max()
    forces = points / size
    growth = np.exp(forces @ np.array([1.0, 0.5, -2.0][-points.shape[1] :]))
    forces[:, -1] += 1.0
    if problem.arm is not None:
        forces = np.column_stack([forces, np.ones(len(forces))])
    system.blocks.set_part(field, DISPLACEMENT, (forces * growth[:, None]).ravel())
    image = system.vector()
    system.mass.product(field, image)
    field.destroy()
    return image
