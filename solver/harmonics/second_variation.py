# SPDX-License-Identifier: MIT
"""The matrix of the second variation of a state for any number of waves around the axis."""

from typing import NamedTuple

import ufl
from dolfinx.fem import petsc as fem_petsc
from petsc4py import PETSc

from annelid.solver.energy import forms
from annelid.solver.harmonics.amplitudes import PerturbedProblem


class _Powers(NamedTuple):
    """K(m) = constant + m linear + m² square."""

    constant: PETSc.Mat
    linear: PETSc.Mat
    square: PETSc.Mat


class SecondVariation:
    """K(m) of the amplitudes (a, b, c), q[, f] without supports, laid out in blocks like the unknowns.

    The gradient of an amplitude is linear in m, so K is a quadratic polynomial of m. Three assemblies at a
    state therefore serve all harmonics.

    Attributes:
        matrix: K(m) of the m set last.
    """

    def __init__(self, problem: PerturbedProblem) -> None:
        self._problem = problem
        self._forms = forms.compile_forms(_second_derivatives(problem))
        self._powers = _Powers(*(fem_petsc.create_matrix(self._forms) for _ in range(3)))
        self.matrix = fem_petsc.assemble_matrix(self._forms)
        self.matrix.setOption(PETSc.Mat.Option.SYMMETRIC, True)
        self.matrix.setOption(PETSc.Mat.Option.KEEP_NONZERO_PATTERN, True)
        self.matrix.assemble()

    def assemble(self) -> None:
        """Take K at the present state; collective."""
        constant, linear, square = self._powers
        for m, K in enumerate(self._powers):
            self._problem.m.value = float(m)
            K.zeroEntries()
            fem_petsc.assemble_matrix(K, self._forms)
            K.assemble()
        same = PETSc.Mat.Structure.SAME_NONZERO_PATTERN
        square.axpy(-2.0, linear, same)  # K(2) - 2 K(1) + K(0) = 2 square
        square.axpy(1.0, constant, same)
        square.scale(0.5)
        linear.axpy(-1.0, constant, same)
        linear.axpy(-1.0, square, same)

    def set(self, m: float) -> None:
        """Form ``matrix`` for a number of waves; collective."""
        constant, linear, square = self._powers
        same = PETSc.Mat.Structure.SAME_NONZERO_PATTERN
        constant.copy(self.matrix, same)
        if m:
            self.matrix.axpy(m, linear, same)
            self.matrix.axpy(m**2, square, same)


def _second_derivatives(problem: PerturbedProblem) -> list[list[ufl.Form | None]]:
    tests = ufl.TestFunctions(ufl.MixedFunctionSpace(*problem.spaces))
    trials = ufl.TrialFunctions(ufl.MixedFunctionSpace(*problem.spaces))
    Π = problem.internal_energy()
    R = [problem.derivative(Π, i, test) for i, test in enumerate(tests)]
    K = [[problem.derivative(Ri, j, trial) for j, trial in enumerate(trials)] for Ri in R]
    if problem.model.solved_potential:
        K[1][2] = K[2][1] = None  # pressure and potential are not coupled
    for surface, P in problem.pressures.items():
        δV = problem.volume_gradient(tests[0], surface)
        K[0][0] -= P * problem.derivative(δV, 0, trials[0])
    return [[None if Kij is None else problem.at_state(Kij) for Kij in Ki] for Ki in K]
