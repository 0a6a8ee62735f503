# SPDX-License-Identifier: MIT
"""The collapse curve of a lattice cell: stretched along one axis, free across it, on its stable states."""

from collections.abc import Callable
from functools import cached_property

import numpy as np
from dolfinx import fem
from petsc4py import PETSc

from annelid.geometry.body import FloatArray
from annelid.geometry.checks import one_of, within
from annelid.geometry.errors import InvalidValue
from annelid.solver.assembly.blocks import DISPLACEMENT
from annelid.solver.continuation.eigenmodes import lowest_eigenmodes
from annelid.solver.continuation.newton import Newton
from annelid.solver.continuation.relaxation import Relaxation
from annelid.solver.energy import forms
from annelid.solver.errors import NoEquilibrium
from annelid.solver.homogenisation.unit_cell import UnitCell
from annelid.solver.model.loads import Loads
from annelid.solver.model.scales import scales_of
from annelid.solver.records import CollapseState

AXES = ("around", "along")
_SMALLEST = 1 / 64  # fraction of a regular step below which a curve ends
_LEAST_STIFFNESS = 1e-12  # MPa


def collapse_curve(
    cell: UnitCell,
    axis: str,
    stretch: float,
    *,
    steps: int = 20,
    observe: Callable[[CollapseState], None] | None = None,
) -> list[CollapseState]:
    """Stretch a cell along an axis, free across it, up to ``stretch`` or as far as it goes.

    Args:
        cell: The cell.
        axis: ``"around"`` (x) or ``"along"`` (y).
        stretch: Mean stretch to reach; below 1 compresses.
        steps: Number of steps; they are halved where a state is not found.
        observe: Called with every state.

    Raises:
        InvalidValue: Unknown axis, or a stretch out of range.
    """
    one_of("axis", axis, AXES)
    within("stretch", stretch, above=0.0, most=10.0)
    if stretch == 1:
        raise InvalidValue("must differ from 1", key="stretch")
    return Collapse(cell, AXES.index(axis)).follow(stretch - 1, steps, observe)


class Collapse:
    """The states of a cell that is stretched along one axis.

    Where a state is unstable the cell relaxes to a stable one. Once none is found, unstable states are
    followed.
    """

    def __init__(self, cell: UnitCell, axis: int) -> None:
        self.cell, self.axis, self._relaxes = cell, axis, True
        across = 1 - axis
        # Lines along the axis keep their direction (H_ba = 0 takes away the rotation); H_ab is free.
        self.system = cell.system(((across, across), (axis, across)))
        self.newton = Newton(self.system, scales_of(cell.model))
        self._traction = self._edge_vector((axis, axis))
        H = np.zeros((2, 2))
        H[axis, axis] = 1.0
        self._affine = cell.affine(self.system, H)

    def follow(
        self, strain: float, steps: int, observe: Callable[[CollapseState], None] | None
    ) -> list[CollapseState]:
        """Return the states up to a mean strain or as far as they go, the stress-free one first."""
        self.newton.solve(Loads())
        states = [self._state(0.0)]
        reached, step = 0.0, 1.0 / steps
        while reached < 1 - 1e-9 and step >= _SMALLEST / steps:
            before = self.system.snapshot()
            fraction = min(step, 1 - reached)
            try:
                far = self._advance(fraction * strain)
                states.append(self._state((reached + fraction) * strain, far=far))
            except NoEquilibrium:
                self.system.restore(before, factorise=True)
                step = fraction / 2
                continue
            reached += fraction
            step = min(2 * step, 1.0 / steps)
            if observe is not None:
                observe(states[-1])
        return states

    def _advance(self, amount: float) -> bool:
        """Move along the tangent, then correct; whether the state found is far from the expected one."""
        system = self.system
        step = self._affine.copy()
        system.solve(self.cell.image(system, self._affine), step)
        step.aypx(-1.0, self._affine)
        step.scale(amount)
        system.x.axpy(1.0, step)
        expected = system.x.copy()
        self.newton.solve(Loads())
        expected.axpy(-1.0, system.x)
        return system.blocks.norms(expected)[0] > system.blocks.norms(step)[0]

    def _relax(self) -> bool:
        """Relax from an unstable state to a stable one at this stretch; False if none is found."""
        system, before = self.system, self.system.snapshot()
        try:
            lowest = lowest_eigenmodes(system, 2)[0]
            stiffness = max(abs(lowest.stiffness) * self.newton.scales.length**2, _LEAST_STIFFNESS)
            Relaxation(self.newton, lambda: None).settle(Loads(), lowest.vector, stiffness)
        except NoEquilibrium:
            system.restore(before, factorise=True)
            return False
        return True

    def _state(self, strain: float, *, far: bool = False) -> CollapseState:
        system, cell = self.system, self.cell
        system.factorise()
        buckled = self._relaxes and system.unstable_modes() > 0
        if buckled:
            buckled = self._relaxes = self._relax()
        across = 1 - self.axis
        displacement = np.zeros_like(cell.model.body.points)
        displacement[cell.problem.node_of_dof] = system.blocks.part(system.x, DISPLACEMENT).reshape(-1, 3)
        H = self._mean_gradient(displacement)
        return CollapseState(
            stretch=1 + strain,
            transverse=1 + H[across, across],
            shear=float(H[self.axis, across]),
            stress=float(self._traction.dot(system.raw)) * cell.period[self.axis] / cell.volume,
            energy=self._energy() / cell.volume,
            unstable_modes=system.unstable_modes(),
            displacement=displacement,
            buckled=buckled or far,
        )

    def _mean_gradient(self, displacement: FloatArray) -> FloatArray:
        H = np.zeros((2, 2))
        for j in (0, 1):
            pairs = self.cell.pairs
            across = pairs[(pairs[:, 2 + j] == 1) & (pairs[:, 3 - j] == 0)]
            if len(across):
                far, near = across[0, :2]
                H[:, j] = (displacement[far] - displacement[near])[:2] / self.cell.period[j]
        return H

    def _energy(self) -> float:
        self.system.read_x()
        return float(fem.assemble_scalar(self._energy_form))

    @cached_property
    def _energy_form(self) -> fem.Form:
        problem = self.cell.problem
        group = problem.fields.groups[0]
        return forms.compile_forms(problem.stored_energy(group, problem.F) * problem.dx(1))

    def _edge_vector(self, component: tuple[int, int]) -> PETSc.Vec:
        """Vector whose product with a residual is the force through an edge, the work of H_ij a_j."""
        shared = self.cell.shared(component)
        problem = self.cell.problem
        values = np.zeros_like(self.cell.model.body.points)
        values[shared.rows[:, 0], shared.rows[:, 1]] = shared.factors
        vector = self.system.vector()
        self.system.blocks.set_part(vector, DISPLACEMENT, values[problem.node_of_dof].ravel())
        return vector
