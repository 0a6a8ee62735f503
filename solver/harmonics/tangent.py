# SPDX-License-Identifier: MIT
"""K of one harmonic with its supports, factorised, and its inertia."""

from collections.abc import Sequence

import numpy as np
from petsc4py import PETSc

from annelid.geometry.body import IntArray
from annelid.solver.assembly.constraint_map import constraint_map
from annelid.solver.assembly.dirichlet import local_dofs
from annelid.solver.assembly.equations import zero_vector
from annelid.solver.assembly.mass import Mass
from annelid.solver.assembly.potential import potential_conditions
from annelid.solver.constraints.constraints import Constraints
from annelid.solver.harmonics.amplitudes import PerturbedProblem
from annelid.solver.harmonics.deflation import Deflation
from annelid.solver.harmonics.rigid_motions import BoolArray, allowed, hold, resistance, rigid_motions
from annelid.solver.harmonics.supports import axis_nodes
from annelid.solver.linalg.factor import Factor, WorkCount


class HarmonicTangent:
    """K(m) with the supports of some m; its pattern serves all m that have the same supports.

    Attributes:
        deflation: Solves with the factor, without rigid motions.

    Args:
        problem: The perturbed problem.
        constraints: Of the amplitudes (a, b, c).
        mass: Of the amplitudes.
        count: Tally of the work.
        potential_on_axis: Whether the potential varies on the axis (m = 0).
    """

    deflation: Deflation

    def __init__(
        self,
        problem: PerturbedProblem,
        constraints: Constraints,
        mass: Mass,
        count: WorkCount,
        *,
        potential_on_axis: bool,
    ) -> None:
        self._problem = problem
        self._mass = mass
        layout = zero_vector(problem)
        self._map = constraint_map(problem, layout, constraints)
        sizes = [V.dofmap.index_map.size_local * V.dofmap.index_map_bs for V in problem.spaces]
        self._starts = np.cumsum([0, *sizes])
        self._is_fixed = self._fixed_components(constraints)
        held = self._fixed_potentials(potential_on_axis)
        fixed = np.concatenate([np.flatnonzero(self._is_fixed), self._starts[2] + held])
        self._fixed = (layout.owner_range[0] + fixed).astype(PETSc.IntType)
        free_potentials = sum(sizes[2:]) - len(held)
        self._constraint_unknowns = int(problem.comm.allreduce(sizes[1] + free_potentials))
        self._factor = Factor(problem.comm, layout.getSize(), 2, count)
        self._reduced: PETSc.Mat | None = None

    def factorise(self, matrix: PETSc.Mat, m: int) -> None:
        """Apply the supports to K(m) in place and factorise it; collective.

        Raises:
            NoEquilibrium: The factorisation failed.
        """
        matrix.zeroRowsColumns(self._fixed, 1.0)
        free, resisted = resistance(matrix, self._rigid(m), self._folded)
        hold(matrix, free)
        if self._map is None:
            self._factor.factorise(matrix)
        else:
            if self._reduced is None:
                self._reduced = matrix.ptap(self._map.T)
            else:
                matrix.ptap(self._map.T, result=self._reduced)
            self._reduced.setOption(PETSc.Mat.Option.SYMMETRIC, True)
            self._factor.factorise(self._reduced)
        self.deflation = Deflation(free, resisted, self._mass, self.solve)

    def unstable_modes(self) -> int:
        """Unstable modes from the inertia of the matrix factorised last (Sylvester's law of inertia)."""
        return self._factor.negative_pivots() - self._constraint_unknowns - self.deflation.negative()

    def solve(self, forces: PETSc.Vec, out: PETSc.Vec) -> None:
        """Write K⁻¹ times forces to ``out``; those at fixed unknowns are ignored."""
        rhs = forces.copy()
        rhs.array_w[self._fixed - rhs.owner_range[0]] = 0.0
        if self._map is None:
            self._factor.solve(rhs, out)
        else:
            self._map.T.multTranspose(rhs, self._map.rhs)
            self._factor.solve(self._map.rhs, self._map.solution)
            self._map.T.mult(self._map.solution, out)
        rhs.destroy()

    def _folded(self, vector: PETSc.Vec) -> PETSc.Vec:
        return vector if self._map is None else self._map.fold(vector)

    def _rigid(self, m: int) -> list[PETSc.Vec]:
        """Rigid motions that the supports allow."""
        owned = len(self._is_fixed) // 3
        motions = [motion[:owned] for motion in rigid_motions(self._problem, m)]
        vectors = []
        for motion in allowed(motions, self._is_fixed.reshape(-1, 3), self._problem.comm):
            z = zero_vector(self._problem)
            z.array_w[: motion.size] = motion.ravel()
            vectors.append(z)
        return vectors

    def _fixed_components(self, constraints: Constraints) -> BoolArray:
        """Whether each owned component of the amplitudes is fixed."""
        fixed = np.zeros(self._starts[1], dtype=bool)
        for group in constraints.fixed:
            dofs = local_dofs(self._problem, group.nodes, group.component)
            fixed[dofs[dofs < len(fixed)]] = True
        return fixed

    def _fixed_potentials(self, on_axis: bool) -> IntArray:
        """Owned unknowns of the potential that electrodes fix, or that vanish on the axis."""
        problem = self._problem
        if len(problem.spaces) == 2:
            return np.empty(0, dtype=np.int64)
        places: Sequence[IntArray] = [bc.dof_indices()[0] for _, bc, _ in potential_conditions(problem)]
        if not on_axis:
            nodes = problem.mesh.nodes_of_dofs(problem.spaces[2])
            places = [*places, np.flatnonzero(np.isin(nodes, axis_nodes(problem.model.body)))]
        every = np.unique(np.concatenate(places))
        return every[every < self._starts[3] - self._starts[2]]
