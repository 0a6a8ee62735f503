# SPDX-License-Identifier: MIT
"""Effective properties of a flat lattice from one of its cells: fluctuation plus mean stretch.

u = H X + w, w periodic: unknowns on the far edges follow those on the near ones, u⁺ = u⁻ + H a, with a the
period. Small strains take H given, large ones along one axis leave the other components of H free, so that
the mean stress is uniaxial. Theory of unit cells: Michel, Moulinec, Suquet, Comput. Methods Appl. Mech.
Engrg. 172, 109 (1999), from memory.
"""

from collections.abc import Mapping
from dataclasses import replace

import numpy as np
from dolfinx import fem
from petsc4py import PETSc

from annelid.geometry.body import Body, FloatArray
from annelid.geometry.errors import InvalidValue
from annelid.solver.assembly.blocks import DISPLACEMENT
from annelid.solver.assembly.system import System
from annelid.solver.constraints.constraints import FixedComponent, SharedUnknown
from annelid.solver.constraints.supports import constraints_of
from annelid.solver.energy import forms
from annelid.solver.energy.problem import Problem
from annelid.solver.homogenisation.periodicity import periodic_constraints, pinned_node
from annelid.solver.model.boundary import Support
from annelid.solver.model.loads import Loads
from annelid.solver.model.material import Material
from annelid.solver.model.model import Model
from annelid.solver.model.parts import Part
from annelid.solver.records import Moduli

_MECHANISM = 1e-9  # least over largest stiffness below which a lattice is a mechanism
_REFINEMENTS, _REFINED = 12, 1e-8  # solves for a fluctuation at most; last of them over the largest


class UnitCell:
    """A cell of a lattice, one period, from Z = 0 (plane of symmetry) to half of its height.

    Args:
        body: The cell, a ``solid`` body with surface ``end_low`` at Z = 0 and matching edges.
        period: Its periods along x and y, mm.
        material: Material of the struts, or of each region; all of one law.
    """

    def __init__(
        self, body: Body, period: tuple[float, float], material: Material | Mapping[str, Material]
    ) -> None:
        self.period = period
        of = material if isinstance(material, Mapping) else dict.fromkeys(body.regions, material)
        parts = tuple(Part(region, of[region]) for region in body.regions)
        self.model = Model(body, parts, (Support("midplane", "symmetric"),))
        self.problem = Problem(self.model)
        self.height = float(np.ptp(body.points[:, 2]))
        self.volume = period[0] * period[1] * self.height
        self._periodic, self.pairs = periodic_constraints(body, period)
        self._pin = pinned_node(body, self._periodic)

    def moduli(self) -> Moduli:
        """Small-strain moduli by condensing the fluctuations out of the mean strains.

        Raises:
            InvalidValue: The lattice is a mechanism: some mean strain causes no stress.
        """
        system = self.system(())
        system.apply(Loads())
        system.assemble_residual()
        system.factorise()
        modes = [self._relaxed(system, self.affine(system, H)) for H in _STRAINS]
        images = [self.image(system, mode) for mode in modes]
        # With the relaxed fields on both sides an error of the solve enters only with its square.
        stiffness = np.array([[image.dot(mode) for mode in modes] for image in images])
        stiffness = (stiffness + stiffness.T) / 2 / self.volume
        _check_stiff(stiffness)
        compliance = np.linalg.inv(stiffness)
        return Moduli(
            around=float(1 / compliance[0, 0]),
            along=float(1 / compliance[1, 1]),
            poisson_around=float(-compliance[1, 0] / compliance[0, 0]),
            poisson_along=float(-compliance[0, 1] / compliance[1, 1]),
            shear=float(1 / compliance[2, 2]),
            stiffness=stiffness,
            relative_density=self._solid_volume() / self.volume,
        )

    def shared(self, component: tuple[int, int]) -> SharedUnknown:
        """The mean gradient H_ij times the period j as an unknown shared by the far edges, mm."""
        i, j = component
        across = self.pairs[self.pairs[:, 2 + j] == 1]
        rows = np.stack([across[:, 0], np.full(len(across), i)], axis=1)
        return SharedUnknown(f"H{'xy'[i]}{'xy'[j]}", rows, np.ones(len(rows)))

    def system(self, free: tuple[tuple[int, int], ...]) -> System:
        """Equations of the cell; the given components of H are unknowns, the others stay zero."""
        supports = constraints_of(self.model.body, self.model.supports)
        fixed = (*supports.fixed, *(FixedComponent("", i, self._pin) for i in (0, 1)))
        shared = tuple(self.shared(component) for component in free)
        return System(self.problem, replace(supports, fixed=fixed, linear=(self._periodic,), shared=shared))

    def affine(self, system: System, H: FloatArray) -> PETSc.Vec:
        """The displacement H (X - X_pin) as a vector of unknowns."""
        points = self.model.body.points
        u = np.zeros_like(points)
        u[:, :2] = (points[:, :2] - points[self._pin[0], :2]) @ H.T
        vector = system.vector()
        system.blocks.set_part(vector, DISPLACEMENT, u[self.problem.node_of_dof].ravel())
        system.zero_fixed(vector)
        return vector

    def _relaxed(self, system: System, mode: PETSc.Vec) -> PETSc.Vec:
        """A mean strain with the fluctuation it causes, refined (large factors are compressed)."""
        answer, first = system.vector(), 0.0
        for _ in range(_REFINEMENTS):
            system.solve(self.image(system, mode), answer)
            mode.axpy(-1.0, answer)
            first = max(first, answer.norm())
            if answer.norm() < _REFINED * first:
                break
        return mode

    def image(self, system: System, mode: PETSc.Vec) -> PETSc.Vec:
        """K times a mode, with the tangent assembled last."""
        image = system.vector()
        system.tangent.matrix.mult(mode, image)
        return image

    def _solid_volume(self) -> float:
        """Stress-free volume of the struts, mm³."""
        one = fem.Constant(self.problem.mesh.domain, 1.0)
        return float(fem.assemble_scalar(forms.compile_forms(one * self.problem.dx(1))))


_STRAINS = (
    np.array([[1.0, 0.0], [0.0, 0.0]]),
    np.array([[0.0, 0.0], [0.0, 1.0]]),
    np.array([[0.0, 0.5], [0.5, 0.0]]),
)


def _check_stiff(stiffness: FloatArray) -> None:
    weakest = np.linalg.eigvalsh(stiffness)
    if weakest[0] < _MECHANISM * weakest[-1]:
        raise InvalidValue(
            "some mean strain of the lattice causes no stress, because its struts are not connected in both "
            "directions: it has no moduli; choose another cell",
            key="cell",
        )
