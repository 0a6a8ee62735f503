# SPDX-License-Identifier: MIT
"""The compiled equations of a problem: residual, tangent, volumes and derivatives by fields."""

from collections.abc import Callable, Iterator, Mapping, Sequence
from typing import Any

import numpy as np
import ufl
from dolfinx import fem
from dolfinx.la import InsertMode
from numpy.typing import NDArray
from petsc4py import PETSc

from annelid.solver.energy import forms
from annelid.solver.energy.problem import Problem
from annelid.solver.model.parts import RESIDUAL_STIFFNESS


class Equations:
    """Compiled forms of a problem; all derivatives are taken of its potential.

    Attributes:
        residual: R, one form a block.
        tangent: K, one form a pair of blocks.
        volume: V of the lumen of the modelled piece, ``None`` without a lumen.
        volume_gradients: δV of each surface that a fluid wets.
        section_force: Force of the uneven pressure in the lumen, ``None`` without one.
    """

    def __init__(self, problem: Problem) -> None:
        tests = ufl.TestFunctions(ufl.MixedFunctionSpace(*problem.spaces))
        trials = ufl.TrialFunctions(ufl.MixedFunctionSpace(*problem.spaces))
        self._tests = tests
        self._R = _derivatives(problem.internal_energy(), problem.unknowns, tests)
        K = [_derivatives(Ri, problem.unknowns, trials) for Ri in self._R]
        if problem.model.solved_potential and problem.folds is None:
            K[1][2] = K[2][1] = None  # pressure and potential are coupled by folds only
        if problem.folds is not None:
            _condense_folds(K, problem, tests, trials)
        self._problem = problem
        self._δV = {s: problem.volume_gradient(tests[0], s) for s in problem.pressures}
        for surface, P in problem.pressures.items():
            K[0][0] -= P * ufl.derivative(self._δV[surface], problem.unknowns[0], trials[0])
        self._section_work: ufl.Form | None = None
        self.section_force: fem.Form | None = None
        if problem.section_pressure is not None:
            self._section_work = ufl.derivative(problem.section_work(), problem.unknowns[0], tests[0])
            K[0][0] -= ufl.derivative(self._section_work, problem.unknowns[0], trials[0])
            self.section_force = forms.compile_forms(self._section_work)
        self._fold_energies = _fold_energies(problem)
        self.volume: fem.Form | None = None
        if problem.model.has_lumen:
            self.volume = forms.compile_forms(problem.volume("lumen"))
        self.volume_gradients = {s: forms.compile_forms(δV) for s, δV in self._δV.items()}
        self.residual = forms.compile_forms(self._R)
        self.tangent = forms.compile_forms(K)

    def fold(self) -> None:
        """Find the folds at the present unknowns, and M; collective.

        Raises:
            NoEquilibrium: None were found.
        """
        folds, stiffness = self._problem.folds, self._problem.fields.fold_stiffness
        if folds is not None:
            assert stiffness is not None
            folds.update(self._fold_energies, stiffness.x.array / RESIDUAL_STIFFNESS)

    def rate_forms(
        self,
        fields: Sequence[fem.Function],
        rates: Sequence[fem.Function],
        *,
        blocks: int,
        through_folds: bool = True,
    ) -> list:
        """Compiled ∂R/∂s of parameter fields that change at given rates, one form a block.

        Args:
            fields: Parameter fields of the problem.
            rates: Their rates.
            blocks: How many blocks of R, from the first, depend on them; all do if folds follow.
            through_folds: Whether folds follow these fields.
        """
        pairs = list(zip(fields, rates, strict=True))
        R = self._R if self._problem.folds is not None and through_folds else self._R[:blocks]
        changes = [sum(ufl.derivative(Ri, field, rate) for field, rate in pairs) for Ri in R]
        if self._problem.folds is not None and through_folds:
            for a, M, g, dx in _fold_couplings(self._problem, self._tests):
                c = sum(ufl.derivative(g, field, rate) for field, rate in pairs)
                for block, ai in enumerate(a):
                    changes[block] -= ufl.inner(ai, M * c) * self._problem.revolution * dx
        return [forms.compile_forms(change) for change in changes]

    def forces_of(self, cells: NDArray[np.int32]) -> Callable[[PETSc.Vec, Mapping[str, float]], None]:
        """The residual that some cells contribute to the nodes, reactions included.

        Args:
            cells: Local cells.

        Returns:
            A function that fills a vector laid out like the unknowns, at pressures in MPa by surface;
            collective.
        """
        R = forms.compile_forms(_restricted(self._R[0], cells))
        gradients = {s: forms.compile_forms(_restricted(δV, cells)) for s, δV in self._δV.items()}
        uneven = self._section_work
        section_force = None if uneven is None else forms.compile_forms(_restricted(uneven, cells))

        def fill(vector: PETSc.Vec, pressures: Mapping[str, float]) -> None:
            assemble(vector, [R], self._problem)
            forces = [(pressures[s], δV) for s, δV in gradients.items() if pressures.get(s)]
            if section_force is not None:
                forces.append((1.0, section_force))
            for pressure, form in forces:
                thrust = zero_vector(self._problem)
                assemble(thrust, [form], self._problem)
                vector.axpy(-pressure, thrust)
                thrust.destroy()

        return fill


def zero_vector(problem: Problem) -> PETSc.Vec:
    """A zero vector laid out like the unknowns (u, p[, φ])."""
    vector = problem.layout.duplicate()  # 0.01 ms, instead of 3 ms for one made for the spaces
    vector.setAttr("_blocks", problem.layout.getAttr("_blocks"))
    vector.set(0.0)
    return vector


def assemble(vector: PETSc.Vec, compiled: Sequence[fem.Form | None], problem: Problem) -> None:
    """Assemble one form a block into a vector laid out like the unknowns.

    Blocks whose form is ``None`` or missing are zero.
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


def _derivatives(form: Any, unknowns: list, directions: tuple) -> list:
    return [ufl.derivative(form, q, dq) for q, dq in zip(unknowns, directions, strict=True)]


def _fold_energies(problem: Problem) -> list[tuple[fem.Expression, NDArray[np.int32]]]:
    """What the folds minimise in each group of cells that fold, and its cells."""
    folds = problem.folds
    if folds is None:
        return []
    return [
        (
            forms.compile_expression(folds.local(problem.potential_density(group, problem.F)), folds.points),
            group.cells,
        )
        for group in problem.fields.groups
        if group.folds
    ]


def _fold_couplings(problem: Problem, directions: tuple) -> Iterator[tuple[list, fem.Function, Any, Any]]:
    """(∂²Π/∂x∂D) by block, M, the density of ∂Π/∂D and the measure of each group of cells that fold."""
    assert problem.folds is not None
    for i, group in enumerate(problem.fields.groups, start=1):
        if group.folds:
            g = ufl.diff(problem.potential_density(group, problem.F), problem.folds.D)
            yield _derivatives(g, problem.unknowns, directions), problem.folds.response, g, problem.dx(i)


def _condense_folds(K: list, problem: Problem, tests: tuple, trials: tuple) -> None:
    """Subtract (∂²Π/∂x∂D) M (∂²Π/∂D∂x), so that K is the derivative of R with the folds that follow."""
    for a, M, g, dx in _fold_couplings(problem, tests):
        for row, left in zip(K, a, strict=True):
            for column, right in enumerate(_derivatives(g, problem.unknowns, trials)):
                row[column] -= ufl.inner(left, M * right) * problem.revolution * dx


def _restricted(form: ufl.Form, cells: NDArray[np.int32]) -> ufl.Form:
    """A form on some local cells and on the facets of these alone; compiled to the same code."""
    places: dict[int, list] = {}
    parts = []
    for integral in form.integrals():
        whole = integral.subdomain_data()
        if id(whole) not in places:
            places[id(whole)] = [
                (i, _within(entities, integral.integral_type(), cells)) for i, entities in whole
            ]
        parts.append(integral.reconstruct(subdomain_data=places[id(whole)]))
    return ufl.Form(parts)


def _within(entities: NDArray[np.int32], kind: str, cells: NDArray[np.int32]) -> NDArray[np.int32]:
    if kind == "cell":
        return entities[np.isin(entities, cells)]
    pairs = entities.reshape(-1, 2)
    return pairs[np.isin(pairs[:, 0], cells)].ravel()
