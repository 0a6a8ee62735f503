# SPDX-License-Identifier: MIT
"""The mode of least stiffness of a harmonic, by SLEPc."""

from dataclasses import dataclass

import numpy as np
from petsc4py import PETSc

from annelid.geometry.body import FloatArray
from annelid.solver.assembly.equations import zero_vector
from annelid.solver.errors import NoEquilibrium
from annelid.solver.harmonics.amplitudes import PerturbedProblem
from annelid.solver.harmonics.tangent import HarmonicTangent
from annelid.solver.readout.gathering import Gathering

_COUNT = 4  # modes nearest to zero stiffness among which the lowest is taken
_CLOSE = 1e-6  # tolerance of a mode that is sought near a known one, whose stiffness errs by its square
_SENSE = (1.0, 0.5, 0.7)  # of (a, b, c); a translation has a = -b


@dataclass(frozen=True)
class HarmonicMode:
    """A mode K v = k M v with u = (a cos mθ, b sin mθ, c cos mθ), M the mass of unit density.

    Attributes:
        m: Number of waves around the axis.
        stiffness: k, MPa/mm²; negative is unstable.
        amplitude: (a, b, c) at the nodes of the meridian, the largest 1, shape (n, 3); ``None`` but on the
            first rank.
        opposite: Planes of symmetry about which the mode is the opposite of its mirror image.
        vector: All its amplitudes, laid out like the unknowns of the perturbed problem.
    """

    m: int
    stiffness: float
    amplitude: FloatArray | None
    opposite: tuple[str, ...] = ()
    vector: PETSc.Vec | None = None


class _InverseStiffness:
    """v -> K⁻¹ M v without rigid motions."""

    def __init__(self, tangent: HarmonicTangent) -> None:
        self._tangent = tangent

    def mult(self, _matrix: PETSc.Mat, v: PETSc.Vec, out: PETSc.Vec) -> None:
        self._tangent.deflation.solve(v, out)


def lowest_mode(
    problem: PerturbedProblem,
    tangent: HarmonicTangent,
    m: int,
    opposite: tuple[str, ...],
    near: PETSc.Vec | None = None,
    *,
    unstable: bool = False,
) -> HarmonicMode:
    """The lowest of the modes nearest to zero stiffness; collective.

    Args:
        problem: The perturbed problem.
        tangent: Factorised for m.
        m: Number of waves around the axis.
        opposite: Planes of symmetry about which the mode is the opposite of its mirror image.
        near: A mode of a state nearby, from which it is found sooner.
        unstable: Whether only modes of negative stiffness are sought, of which there must be one.

    Raises:
        NoEquilibrium: The eigensolver found none.
    """
    from slepc4py import SLEPc  # most paths draw no mode and need not load it

    vector = zero_vector(problem)
    local, whole = vector.getLocalSize(), vector.getSize()
    operator = PETSc.Mat().createPython(((local, whole), (local, whole)), comm=problem.comm)
    operator.setPythonContext(_InverseStiffness(tangent))
    operator.setUp()
    solver = SLEPc.EPS().create(problem.comm)
    solver.setOperators(operator)
    solver.setProblemType(SLEPc.EPS.ProblemType.NHEP)
    # The eigenvalues are 1/k.
    nearest = SLEPc.EPS.Which.SMALLEST_REAL if unstable else SLEPc.EPS.Which.LARGEST_MAGNITUDE
    solver.setWhichEigenpairs(nearest)
    if near is None:
        solver.setDimensions(_COUNT, 5 * _COUNT)
        solver.setTolerances(1e-8, 50)
        vector.array_w[:] = np.random.default_rng(1).standard_normal(local)
    else:
        solver.setDimensions(1, 2 * _COUNT)
        solver.setTolerances(_CLOSE, 50)
        near.copy(vector)
    solver.setInitialSpace([vector])
    solver.solve()
    values = [solver.getEigenvalue(i).real for i in range(solver.getConverged())]
    stiffness = [1 / value if value else np.inf for value in values]
    if not np.isfinite(stiffness).any():
        raise NoEquilibrium("the eigensolver found no mode")
    lowest = int(np.argmin(stiffness))
    solver.getEigenvector(lowest, vector)
    shape = Gathering(problem).nodes(vector.array_r)
    for done in (solver, operator):
        done.destroy()
    amplitude = None if shape is None else _of_unit_size(problem, shape)
    return HarmonicMode(m, stiffness[lowest], amplitude, opposite, vector)


def _of_unit_size(problem: PerturbedProblem, amplitude: FloatArray) -> FloatArray:
    """The largest component 1 in size, in a sense that does not depend on meshes and ranks."""
    points = problem.model.body.points
    growth = np.exp(2 * points[:, 1] / np.ptp(points, axis=0).max())  # no mode is even in that sense
    sense = np.sign(growth @ amplitude @ _SENSE) or 1.0
    return sense * amplitude / np.abs(amplitude).max()
