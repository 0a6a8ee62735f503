# SPDX-License-Identifier: MIT
"""The compiled equations of a problem: residual, tangent, lumen volume and load derivatives as forms."""

import ufl
from dolfinx import fem
from dolfinx.fem import petsc as fem_petsc
from dolfinx.la import InsertMode
from petsc4py import PETSc

from annelid.solver.energy import forms
from annelid.solver.energy.problem import Problem


class Equations:
    """Compiled forms of a problem; all derivatives are taken of its potential.

    Attributes:
        residual: R, one form a block.
        tangent: K, one form a pair of blocks.
        volume: V of the modelled piece, ``None`` without a lumen.
        volume_gradient: δV, ``None`` without a lumen.
        rates: ∂R/∂s of the parameter fields below, one form a block or ``None``.
        field_rate: Rate of the sheets' nominal field, ``None`` where there is none.
        natural_rate: Rates of the natural stretch, ``None`` where it is 1.
        obstacle_rates: Rate of the position of each obstacle.
    """

    def __init__(self, problem: Problem, *, closed_ends: bool) -> None:
        self._problem = problem
        tests = ufl.TestFunctions(ufl.MixedFunctionSpace(*problem.spaces))
        trials = ufl.TrialFunctions(ufl.MixedFunctionSpace(*problem.spaces))
        R = _derivatives(problem.internal_energy(), problem.unknowns, tests)
        K = [_derivatives(Ri, problem.unknowns, trials) for Ri in R]
        if problem.model.solved_potential:
            K[1][2] = K[2][1] = None  # pressure and potential do not meet
        self.volume: fem.Form | None = None
        self.volume_gradient: fem.Form | None = None
        if problem.model.has_lumen:
            δV = problem.volume_gradient(tests[0], closed=closed_ends)
            K[0][0] -= problem.lumen_pressure * ufl.derivative(δV, problem.unknowns[0], trials[0])
            self.volume = forms.compile_forms(problem.volume())
            self.volume_gradient = forms.compile_forms(δV)
        self.residual = forms.compile_forms(R)
        self.tangent = forms.compile_forms(K)
        self._compile_rates(R)

    def _compile_rates(self, R: list) -> None:
        """Forms of ∂R/∂s for what moves with a stage: sheet field, natural stretch, obstacles."""
        fields = self._problem.fields
        space = fields.sheet_field.function_space
        dR: list = [None] * len(R)
        self.field_rate = self.natural_rate = None
        if self._problem.model.electrodes and not self._problem.model.solved_potential:
            self.field_rate = fem.Function(space)
            dR[0] = ufl.derivative(R[0], fields.sheet_field, self.field_rate)
        if fields.natural is not None:
            self.natural_rate = [fem.Function(g.function_space) for g in fields.natural]
            for i in (0, 1):
                for g, dg in zip(fields.natural, self.natural_rate, strict=True):
                    term = ufl.derivative(R[i], g, dg)
                    dR[i] = term if dR[i] is None else dR[i] + term
        self.obstacle_rates = [fem.Function(space) for _ in fields.obstacles]
        for position, rate in zip(fields.obstacles, self.obstacle_rates, strict=True):
            term = ufl.derivative(R[0], position, rate)
            dR[0] = term if dR[0] is None else dR[0] + term
        self.rates = [None if form is None else forms.compile_forms(form) for form in dR]


def zero_vector(problem: Problem) -> PETSc.Vec:
    """A zero vector laid out like the unknowns (u, p[, φ])."""
    vector = fem_petsc.create_vector(problem.spaces)
    vector.set(0.0)
    return vector


def assemble(vector: PETSc.Vec, compiled: list, problem: Problem) -> None:
    """Assemble one form a block into a vector laid out like the unknowns; ``None`` leaves its block zero.

    Blocks that are not listed stay zero too.
    """
    vector.set(0.0)
    start = 0
    for form, V in zip(compiled, problem.spaces, strict=False):
        size = V.dofmap.index_map.size_local * V.dofmap.index_map_bs
        if form is not None:
            b = fem.assemble_vector(form)
            b.scatter_reverse(InsertMode.add)
            vector.array_w[start : start + size] = b.array[:size]
        start += size


def _derivatives(form: ufl.Form, unknowns: list, directions: tuple) -> list:
    return [ufl.derivative(form, q, dq) for q, dq in zip(unknowns, directions, strict=True)]
