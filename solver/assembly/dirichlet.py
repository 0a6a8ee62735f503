# SPDX-License-Identifier: MIT
"""Unknowns that supports and electrodes fix at given values."""

from collections.abc import Iterator
from contextlib import contextmanager

import numpy as np
from dolfinx import fem
from dolfinx.fem import petsc as fem_petsc
from petsc4py import PETSc

from annelid.geometry.body import FloatArray, IntArray
from annelid.solver.assembly.potential import potential_conditions
from annelid.solver.assembly.turned_nodes import TurnedNodes
from annelid.solver.constraints.constraints import Constraints, FixedComponent
from annelid.solver.energy.problem import Problem
from annelid.solver.model.loads import Loads


class DirichletConditions:
    """Dirichlet conditions of a problem and the values in force.

    Attributes:
        bcs: All conditions.
        by_block: The same, one list a block (u, p[, φ]).
        voltages: (electrode or "", condition, value) of a solved potential.
    """

    def __init__(self, problem: Problem, constraints: Constraints) -> None:
        self._problem = problem
        self._fixed = constraints.fixed
        self._values = [
            TurnedNodes(problem, fixed)
            if fixed.turned and problem.model.has_twist
            else fem.Constant(problem.mesh.domain, 0.0)
            for fixed in self._fixed
        ]
        self._loads = Loads()
        self._kept = np.zeros(len(self._fixed))  # where reaction-free nodes are kept
        supports = [
            _condition(problem, fixed, value.function if isinstance(value, TurnedNodes) else value)
            for fixed, value in zip(self._fixed, self._values, strict=True)
        ]
        self.voltages = potential_conditions(problem) if problem.model.solved_potential else []
        potentials = [bc for _, bc, _ in self.voltages]
        self.bcs = supports + potentials
        self.by_block = [supports, [], potentials][: len(problem.spaces)]

    def keep_at(self, displacement: FloatArray) -> None:
        """Keep reaction-free nodes at a displacement, given by nodes of the body."""
        for i, fixed in enumerate(self._fixed):
            if fixed.reaction_free:
                self._kept[i] = displacement[fixed.nodes[0], fixed.component]

    def prescribe(self, loads: Loads, *, rate: bool = False) -> None:
        """Take the values that belong to some loads, or to their rate."""
        self._loads = loads
        for fixed, value, kept in zip(self._fixed, self._values, self._kept, strict=True):
            if isinstance(value, TurnedNodes):
                value.turn(loads.twists.get(fixed.turned, 0.0), rate=rate)
                continue
            value.value = loads.displacements.get(fixed.support, 0.0) if fixed.support else 0.0
            if fixed.reaction_free and not rate:
                value.value = kept
        for electrode, _, value in self.voltages:
            value.value = loads.voltages.get(electrode, 0.0) if electrode else 0.0

    @contextmanager
    def at_rate(self, rate: Loads) -> Iterator[None]:
        """Take the values of a rate for a while."""
        before = self._loads
        self.prescribe(rate, rate=True)
        try:
            yield
        finally:
            self.prescribe(before)

    def changes_with(self, rate: Loads) -> bool:
        """Whether a rate changes a fixed unknown."""
        moves = any(rate.displacements.values()) or any(rate.twists.values())
        return moves or bool(self.voltages and any(rate.voltages.values()))

    def set(self, vector: PETSc.Vec) -> None:
        """Write the values in force to a vector."""
        fem_petsc.set_bc(vector, self.by_block)

    def zero(self, vector: PETSc.Vec) -> None:
        """Zero the fixed unknowns of a vector."""
        fem_petsc.set_bc(vector, self.by_block, alpha=0.0)

    def free_potentials(self) -> int:
        """Number of unknowns of a solved potential that no electrode fixes; collective."""
        if len(self._problem.spaces) == 2:
            return 0
        index_map = self._problem.spaces[2].dofmap.index_map
        fixed = np.zeros(index_map.size_local + index_map.num_ghosts, dtype=bool)
        for _, bc, _ in self.voltages:
            fixed[bc.dof_indices()[0]] = True
        return int(self._problem.comm.allreduce(int(np.sum(~fixed[: index_map.size_local]))))


def local_dofs(problem: Problem, nodes: IntArray, component: int) -> IntArray:
    """Local scalar dofs (owned and ghost) of a displacement component at body nodes, int32."""
    blocks = np.flatnonzero(np.isin(problem.node_of_dof, nodes))
    return (blocks * problem.spaces[0].dofmap.index_map_bs + component).astype(np.int32)


def _condition(
    problem: Problem, fixed: FixedComponent, value: fem.Constant | fem.Function
) -> fem.DirichletBC:
    """DOLFINx boundary condition of a group of fixed components, of one value or of a displacement."""
    dofs = local_dofs(problem, fixed.nodes, fixed.component)
    space = problem.spaces[0].sub(fixed.component)
    return fem.dirichletbc(value, [dofs, dofs] if isinstance(value, fem.Function) else dofs, space)
