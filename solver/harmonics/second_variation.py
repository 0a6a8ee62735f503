# SPDX-License-Identifier: MIT
"""The matrix of the second variation of a state for any number of waves around the axis."""

from typing import NamedTuple

import ufl
from dolfinx import fem
from dolfinx.fem import petsc as fem_petsc
from petsc4py import PETSc

from annelid.solver.energy import forms
from annelid.solver.harmonics.amplitudes import PerturbedProblem
from annelid.solver.harmonics.moduli import Moduli

_HOOP = (1, 3, 5, 7, 11)  # components of x with one index of the hoop


class _Powers(NamedTuple):
    """K(m) = constant + m linear + m² square."""

    constant: PETSc.Mat
    linear: PETSc.Mat
    square: PETSc.Mat


class SecondVariation:
    """K(m) of the amplitudes (a, b, c), q[, f] without supports, laid out in blocks like the unknowns.

    The gradient of an amplitude is linear in m, so K is a quadratic polynomial of m. Three assemblies at a
    state therefore serve all harmonics. ``assemble`` comes before ``set``.

    Attributes:
        matrix: K(m) of the m set last.
    """

    def __init__(self, problem: PerturbedProblem) -> None:
        self._problem = problem
        self._moduli = Moduli(problem)
        self._inside = forms.compile_forms(_inside(problem, self._moduli.H))
        self._on_surfaces = forms.compile_forms(_on_surfaces(problem))
        self._powers = _Powers(*(fem_petsc.create_matrix(self._inside) for _ in range(3)))
        self.matrix = fem_petsc.assemble_matrix(self._inside)
        self.matrix.setOption(PETSc.Mat.Option.SYMMETRIC, True)
        self.matrix.setOption(PETSc.Mat.Option.KEEP_NONZERO_PATTERN, True)
        self.matrix.assemble()

    def assemble(self) -> None:
        """Take the present state; collective."""
        self._moduli.update()
        self._asked: float | None = None
        self._has_powers = False

    def set(self, m: float) -> None:
        """Form ``matrix`` for a number of waves; collective.

        The first time at a state it is assembled, then the powers are.
        """
        if not self._has_powers and self._asked in (None, m):
            self._asked = m
            self._assemble(m, self.matrix)
            return
        if not self._has_powers:
            self._assemble_powers()
        constant, linear, square = self._powers
        same = PETSc.Mat.Structure.SAME_NONZERO_PATTERN
        constant.copy(self.matrix, same)
        if m:
            self.matrix.axpy(m, linear, same)
            self.matrix.axpy(m**2, square, same)

    def _assemble_powers(self) -> None:
        constant, linear, square = self._powers
        for m, K in enumerate(self._powers):
            self._assemble(float(m), K)
        same = PETSc.Mat.Structure.SAME_NONZERO_PATTERN
        square.axpy(-2.0, linear, same)  # K(2) - 2 K(1) + K(0) = 2 square
        square.axpy(1.0, constant, same)
        square.scale(0.5)
        linear.axpy(-1.0, constant, same)
        linear.axpy(-1.0, square, same)
        self._has_powers = True

    def _assemble(self, m: float, K: PETSc.Mat) -> None:
        self._problem.m.value = m
        K.zeroEntries()
        fem_petsc.assemble_matrix(K, self._inside)
        fem_petsc.assemble_matrix(K, self._on_surfaces)
        K.assemble()


def _inside(problem: PerturbedProblem, H: fem.Function) -> list[list[ufl.Form | None]]:
    """The second variation of the density by blocks of the amplitudes, from that in x; of no law."""
    spaces = ufl.MixedFunctionSpace(*problem.spaces)
    tests, trials = (
        [problem.amplitudes_of(i, v) for i, v in enumerate(arguments)]
        for arguments in (ufl.TestFunctions(spaces), ufl.TrialFunctions(spaces))
    )
    over = ufl.dx(domain=problem.mesh.domain, metadata=problem.rule)
    K: list[list[ufl.Form | None]] = [
        [
            sum(H[i, j] * v * w for i, v in test.items() for j, w in trial.items() if _coupled(i, j)) * over
            for trial in trials
        ]
        for test in tests
    ]
    if problem.model.solved_potential:
        K[1][2] = K[2][1] = None  # pressure and potential are not coupled
    return K


def _coupled(i: int, j: int) -> bool:
    """Whether components of x may be coupled: both hold one index of the hoop, or neither."""
    return (i in _HOOP) == (j in _HOOP)


def _on_surfaces(problem: PerturbedProblem) -> list[list[ufl.BaseForm | None]]:
    """The second variation of beds, obstacles and pressures, which is that in (a, b, c)."""
    arguments = [(ufl.TestFunction(space), ufl.TrialFunction(space)) for space in problem.spaces]
    v, w = arguments[0]
    K = problem.derivative(problem.derivative(problem.surface_energy(), v), w)
    for surface, P in problem.pressures.items():
        K -= P * problem.derivative(problem.volume_gradient(v, surface), w)
    nothing: list[ufl.BaseForm] = [ufl.ZeroBaseForm(pair) for pair in arguments]
    diagonal = [nothing[0] if K.empty() else problem.at_state(K), *nothing[1:]]
    return [[form if i == j else None for j in range(len(diagonal))] for i, form in enumerate(diagonal)]
