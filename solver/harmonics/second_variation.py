# SPDX-License-Identifier: MIT
"""The matrix of the second variation of a state for any number of waves around the axis."""

from typing import NamedTuple

import ufl
from dolfinx import fem
from dolfinx.fem import petsc as fem_petsc
from petsc4py import PETSc

from annelid.solver.energy import forms
from annelid.solver.harmonics.amplitudes import PerturbedProblem
from annelid.solver.harmonics.moduli import StateModuli

_SAME = PETSc.Mat.Structure.SAME_NONZERO_PATTERN
_HOOP = (1, 3, 5, 7, 11)  # components of x with one index of the hoop


class Powers(NamedTuple):
    """K(m) = constant + m linear + m² square."""

    constant: PETSc.Mat
    linear: PETSc.Mat
    square: PETSc.Mat

    def copy(self) -> "Powers":
        """A copy that outlives the state."""
        return Powers(*(matrix.copy() for matrix in self))

    def add_to(self, matrix: PETSc.Mat, m: float, factor: float = 1.0) -> None:
        """Add K(m) times a factor to a matrix of the same pattern; collective."""
        for power, K in enumerate(self):
            matrix.axpy(factor * m**power, K, _SAME)


class SecondVariation:
    """K(m) of the amplitudes (a, b, c), q[, f] without supports, laid out in blocks like the unknowns.

    The gradient of an amplitude is linear in m, so K is a quadratic polynomial of m, whose three matrices
    are assembled once at a state. ``assemble`` comes before ``set``.

    Attributes:
        moduli: Second derivatives of the density at the present state.
        powers: The three matrices.
        matrix: K(m) of the m set last.
    """

    def __init__(self, problem: PerturbedProblem) -> None:
        self._problem = problem
        self.moduli = StateModuli(problem)
        self._inside = forms.compile_forms([_inside(problem, self.moduli.H, power) for power in range(3)])
        self._on_surfaces = forms.compile_forms(_on_surfaces(problem))
        matrices = [fem_petsc.assemble_matrix(self._inside[0]) for _ in range(4)]  # all of one pattern
        for matrix in matrices:
            matrix.assemble()
        self.powers, self.matrix = Powers(*matrices[:3]), matrices[3]
        self.matrix.setOption(PETSc.Mat.Option.SYMMETRIC, True)
        self.matrix.setOption(PETSc.Mat.Option.KEEP_NONZERO_PATTERN, True)

    def assemble(self) -> None:
        """Take the present state; collective."""
        self.moduli.update()
        self._assemble_surfaces()
        H = fem.pack_coefficients(self._inside[0][0][0])  # once for all forms: it takes as long as they do
        for K, inside in zip(self.powers, self._inside, strict=True):
            fem_petsc.assemble_matrix(
                K, inside, coeffs=[[H if _has_moduli(f) else {} for f in row] for row in inside]
            )
            K.assemble()

    def set(self, m: float) -> None:
        """Form ``matrix`` for a number of waves; collective."""
        self.matrix.zeroEntries()
        self.powers.add_to(self.matrix, m)

    def _assemble_surfaces(self) -> None:
        """The powers of m of the terms on surfaces, from three numbers of waves."""
        constant, linear, square = self.powers
        for m, K in enumerate(self.powers):
            self._problem.m.value = m
            K.zeroEntries()
            fem_petsc.assemble_matrix(K, self._on_surfaces)
            K.assemble()
        square.axpy(-2.0, linear, _SAME)  # K(2) - 2 K(1) + K(0) = 2 square
        square.axpy(1.0, constant, _SAME)
        square.scale(0.5)
        linear.axpy(-1.0, constant, _SAME)
        linear.axpy(-1.0, square, _SAME)


def _inside(problem: PerturbedProblem, H: fem.Function, power: int) -> list[list[ufl.BaseForm | None]]:
    """What a power of m multiplies in the second variation of the density, by blocks of the amplitudes."""
    spaces = ufl.MixedFunctionSpace(*problem.spaces)
    arguments = ufl.TestFunctions(spaces), ufl.TrialFunctions(spaces)
    tests, trials = ([problem.amplitudes_of(i, v) for i, v in enumerate(every)] for every in arguments)
    over = ufl.dx(domain=problem.mesh.domain, metadata=problem.rule)

    def block(row: int, column: int) -> ufl.BaseForm | None:
        products = [
            H[i, j] * v * w
            for n in range(2)
            for i, v in tests[row][n].items()
            for j, w in (trials[column][power - n].items() if 0 <= power - n < 2 else ())
            if _coupled(i, j)
        ]
        if products and {row, column} != {1, 2}:  # pressure and potential are not coupled
            return sum(products) * over
        pair = arguments[0][row], arguments[1][column]
        return ufl.ZeroBaseForm(pair) if row == column else None

    blocks = range(len(tests))
    return [[block(row, column) for column in blocks] for row in blocks]


def _has_moduli(form: fem.Form | None) -> bool:
    return form is not None and bool(form._cpp_object.coefficients)


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
