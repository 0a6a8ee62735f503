# SPDX-License-Identifier: MIT
"""The collapse curve of a lattice cell: stretched along one axis, free across it, on its stable states."""

from collections.abc import Callable
from functools import cached_property

import numpy as np
from dolfinx import fem
from petsc4py import PETSc

from annelid.geometry.body import FloatArray
from annelid.geometry.errors import InputError
from annelid.solver.continuation.eigenmodes import softest_modes
from annelid.solver.continuation.newton import Newton
from annelid.solver.continuation.relaxation import Relaxation
from annelid.solver.energy import forms
from annelid.solver.errors import NoEquilibrium
from annelid.solver.homogenisation.unit_cell import UnitCell
from annelid.solver.model.loads import Loads
from annelid.solver.model.scales import scales_of
from annelid.solver.records import CollapseState

AXES = ("around", "along")
_SMALLEST = 1 / 64  # share of a wanted step below which a curve ends
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
        steps: Wanted number of steps, halved where the way is hard to follow.
        observe: Called with every state.

    Raises:
        InputError: Unknown axis, or a stretch that is not positive.
    """
    if axis not in AXES:
        raise InputError(f"axis = '{axis}' is not one of: {', '.join(AXES)}", key="axis")
    if not 0 < stretch < 10 or stretch == 1:
        raise InputError(f"stretch is {stretch:g}; it must lie between 0 and 10 and not be 1", key="stretch")
    return Collapse(cell, AXES.index(axis)).follow(stretch - 1, steps, observe)


class Collapse:
    """A cell on its way along one axis.

    Where its state turns unstable it moves, like a part that creeps, to the stable one it gives way to. Once
    none is found it goes on over unstable states.
    """

    def __init__(self, cell: UnitCell, axis: int) -> None:
        self.cell, self.axis, self.steady = cell, axis, True
        across = 1 - axis
        # Lines along the axis keep their direction (H_ba = 0 takes away the rotation); H_ab is free.
        self.system = cell.system(((across, across), (axis, across)))
        self.newton = Newton(self.system, scales_of(cell.model))
        self._drive = self._seam_vector((axis, axis))
        H = np.zeros((2, 2))
        H[axis, axis] = 1.0
        self._affine = cell.affine(self.system, H)

    def follow(
        self, strain: float, steps: int, observe: Callable[[CollapseState], None] | None
    ) -> list[CollapseState]:
        """Return the states up to a mean strain or as far as they go, the drawn one first."""
        self.newton.solve(Loads())
        states = [self._state(0.0)]
        reached, step = 0.0, 1.0 / steps
        while reached < 1 - 1e-9 and step >= _SMALLEST / steps:
            kept = self.system.x.copy()
            share = min(step, 1 - reached)
            try:
                far = self._advance(share * strain)
                states.append(self._state((reached + share) * strain, far=far))
            except NoEquilibrium:
                kept.copy(self.system.x)
                self.system.assemble_residual()
                self.system.factorise()
                step = share / 2
                continue
            reached += share
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
        self.newton.factorised = True
        expected = system.x.copy()
        self.newton.solve(Loads())
        expected.axpy(-1.0, system.x)
        return bool(system.block_norms(expected)[0] > system.block_norms(step)[0])

    def _settle(self) -> bool:
        """Leave an unstable state for the one it gives way to at this stretch; False if none is found."""
        system, kept = self.system, self.system.x.copy()
        try:
            softest = softest_modes(system, 2)[0]
            stiffness = max(abs(softest.stiffness) * self.newton.scales.length**2, _LEAST_STIFFNESS)
            Relaxation(self.newton, lambda: True).settle(Loads(), softest.vector, stiffness)
        except NoEquilibrium:
            kept.copy(system.x)
            system.assemble_residual()
            system.factorise()
            return False
        return True

    def _state(self, strain: float, *, far: bool = False) -> CollapseState:
        system, cell = self.system, self.cell
        system.factorise()
        self.newton.factorised = True
        gave_way = self.steady and system.unstable_modes() > 0
        if gave_way:
            gave_way = self.steady = self._settle()
        across = 1 - self.axis
        displacement = np.zeros_like(cell.model.body.points)
        owned = len(cell.problem.node_of_dof)
        displacement[cell.problem.node_of_dof] = system.x.array_r[: 3 * owned].reshape(-1, 3)
        gap = self._mean_gradient(displacement)
        return CollapseState(
            stretch=1 + strain,
            transverse=1 + gap[across, across],
            shear=float(gap[self.axis, across]),
            stress=float(self._drive.dot(system.raw)) * cell.period[self.axis] / cell.volume,
            energy=self._energy() / cell.volume,
            unstable_modes=system.unstable_modes(),
            displacement=displacement,
            gave_way=gave_way or far,
        )

    def _mean_gradient(self, displacement: FloatArray) -> FloatArray:
        H = np.zeros((2, 2))
        for j in (0, 1):
            pairs = self.cell.pairs
            across = pairs[(pairs[:, 2 + j] == 1) & (pairs[:, 3 - j] == 0)]
            if len(across):
                slave, master = across[0, :2]
                H[:, j] = (displacement[slave] - displacement[master])[:2] / self.cell.period[j]
        return H

    def _energy(self) -> float:
        self.system.read_x()
        return float(fem.assemble_scalar(self._energy_form))

    @cached_property
    def _energy_form(self) -> fem.Form:
        problem = self.cell.problem
        members = problem.fields.laws[0]
        return forms.compile_forms(problem.stored_energy(members, problem.F) * problem.dx(1))

    def _seam_vector(self, component: tuple[int, int]) -> PETSc.Vec:
        """Vector whose product with a residual is the force through a seam, the work of H_ij a_j."""
        shared = self.cell.shared(component)
        problem = self.cell.problem
        values = np.zeros_like(self.cell.model.body.points)
        values[shared.rows[:, 0], shared.rows[:, 1]] = shared.factors
        vector = self.system.vector()
        vector.array_w[: values.size] = values[problem.node_of_dof].ravel()
        return vector
