# SPDX-License-Identifier: MIT
"""Scalar conditions c(x, λ) = c* of controls: volume, charge, motions of nodes, arc length."""

from abc import ABC, abstractmethod

import numpy as np
from petsc4py import PETSc

from annelid.geometry.body import FloatArray, IntArray
from annelid.geometry.inventory import inner_surface
from annelid.solver.assembly.charges import charge_of
from annelid.solver.assembly.system import System
from annelid.solver.model.stages import PointMotion
from annelid.solver.readout.surface_weights import SurfaceWeights


class Condition(ABC):
    """The condition of a control.

    Attributes:
        conjugate: Whether c = -∂Π/∂λ (volume and pressure, charge and voltage); the bordered matrix is then
            symmetric and its inertia shows the stability under the control.
    """

    conjugate = False

    def __init__(self, system: System) -> None:
        self.system = system

    @abstractmethod
    def value(self) -> float:
        """The value c at the present unknowns and loads."""

    @abstractmethod
    def gradient(self, out: PETSc.Vec) -> None:
        """∂c/∂x, written to ``out``."""

    def slope(self) -> float:
        """∂c/∂λ at fixed x."""
        return 0.0

    @property
    @abstractmethod
    def scale(self) -> float:
        """Magnitude to which a defect of c is compared."""


class VolumeCondition(Condition):
    """Volume enclosed by the lumen of the whole part, mm³; its multiplier is the pressure."""

    conjugate = True

    def __init__(self, system: System) -> None:
        super().__init__(system)
        self._reference = abs(system.volume())

    def value(self) -> float:
        """Enclosed volume now."""
        return self.system.volume()

    def gradient(self, out: PETSc.Vec) -> None:
        """The pressure's load vector on the whole part."""
        self.system.pressures.f["lumen"].copy(out)
        out.scale(self.system.problem.model.body.multiplicity)

    @property
    def scale(self) -> float:
        """The volume at the start of the control."""
        return self._reference


class ChargeCondition(Condition):
    """Charge on electrodes that share one voltage, uC; its multiplier is that voltage."""

    conjugate = True

    def __init__(self, system: System, electrodes: tuple[str, ...], scale: float) -> None:
        super().__init__(system)
        self._charge = charge_of(system, electrodes)
        self._scale = scale

    def value(self) -> float:
        """Q = -∂Π/∂V."""
        return self._charge.value()

    def gradient(self, out: PETSc.Vec) -> None:
        """∂Q/∂x on the whole part."""
        self._charge.gradient(out)

    def slope(self) -> float:
        """∂Q/∂V at fixed shape: the capacitance."""
        return self._charge.slope()

    @property
    def scale(self) -> float:
        """The charge to reach."""
        return self._scale


class LinearCondition(Condition):
    """A weighted sum of displacement components of nodes, mm (a point's motion, a section's mean opening).

    Attributes:
        offset: Added to the sum, mm (the reference radius of an opening).
    """

    def __init__(
        self, system: System, nodes: IntArray, weights: FloatArray, *, offset: float, scale: float
    ) -> None:
        super().__init__(system)
        self.offset = offset
        self._scale = scale
        self._vector = system.vector()
        problem = system.problem
        bs = problem.spaces[0].dofmap.index_map_bs
        owned = problem.spaces[0].dofmap.index_map.size_local
        row_of = np.full(len(problem.model.body.points), -1, dtype=np.int64)
        row_of[problem.node_of_dof[:owned]] = np.arange(owned)
        rows = row_of[nodes]
        here = rows >= 0
        np.add.at(
            self._vector.array_w,
            (rows[here, None] * bs + np.arange(weights.shape[1])).ravel(),
            weights[here].ravel(),
        )

    def value(self) -> float:
        """The sum now."""
        return self._vector.dot(self.system.x) + self.offset

    def gradient(self, out: PETSc.Vec) -> None:
        """The weights."""
        self._vector.copy(out)

    @property
    def scale(self) -> float:
        """Size of the part."""
        return self._scale


class ArcCondition(Condition):
    """Root mean square distance (L2 norm) of the displacement from a given state, mm; mesh-independent."""

    def __init__(self, system: System, scale: float) -> None:
        super().__init__(system)
        self._scale = scale
        self._from, self._difference, self._product = (system.vector() for _ in range(3))
        # A unit motion along the axis has the norm 1.
        bs = system.problem.spaces[0].dofmap.index_map_bs
        owned = system.problem.spaces[0].dofmap.index_map.size_local
        self._difference.array_w[system.problem.axial : owned * bs : bs] = 1.0
        self._volume = 1.0
        self._volume = self.inner(self._difference, self._difference)

    def start(self) -> None:
        """Measure from the present state on."""
        self.system.x.copy(self._from)

    def value(self) -> float:
        """‖u - u0‖."""
        return self.norm(self._delta())

    def gradient(self, out: PETSc.Vec) -> None:
        """M (u - u0) / ‖u - u0‖, over the volume."""
        length = self.value()
        self.system.mass.product(self._delta(), out)
        out.scale(1 / (self._volume * max(length, 1e-300)))

    def norm(self, vector: PETSc.Vec) -> float:
        """Root mean square of the displacement part of a vector over the volume, mm."""
        return float(np.sqrt(max(self.inner(vector, vector), 0.0)))

    def inner(self, a: PETSc.Vec, b: PETSc.Vec) -> float:
        """L2 inner product of the displacement parts of two vectors over the volume, mm²."""
        self.system.mass.product(a, self._product)
        return float(self._product.dot(b)) / self._volume

    def _delta(self) -> PETSc.Vec:
        self.system.x.copy(self._difference)
        self._difference.axpy(-1.0, self._from)
        return self._difference

    @property
    def scale(self) -> float:
        """Size of the part."""
        return self._scale


def point_condition(system: System, point: PointMotion, scale: float) -> Condition:
    """Displacement component of the nodes nearest to the reference positions."""
    body = system.problem.model.body
    nodes = [int(np.argmin(np.linalg.norm(body.points - place, axis=1))) for place in point.positions]
    weights = np.zeros((len(nodes), body.points.shape[1]))
    weights[:, point.component] = point.weights
    return LinearCondition(system, np.array(nodes), weights, offset=0.0, scale=scale)


def opening_condition(system: System, height: float, scale: float) -> Condition:
    """Mean inner radius around the section at a reference height; radial motions in 3-D are linearised."""
    body = system.problem.model.body
    inner = SurfaceWeights(body, inner_surface(body))
    share = inner.at_height(height)
    chosen = np.flatnonzero(share)
    nodes, radius = inner.nodes[chosen], np.maximum(inner.radius[chosen], 1e-30)
    weights = np.zeros((len(nodes), body.points.shape[1]))
    weights[:, :-1] = (share[chosen] / radius)[:, None] * body.points[nodes, :-1]
    return LinearCondition(system, nodes, weights, offset=float(share @ inner.radius), scale=scale)
