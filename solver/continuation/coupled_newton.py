# SPDX-License-Identifier: MIT
"""Newton's method for a part and the flow systems that answer to it.

Unknowns are those of the part, x, and those of the flow, y, which gives loads e = S y::

    [ K   -F S ] [Δx]   [ -R ]      F = -∂R/∂e,   r(y, w(x, e), l(x)) the residual of a stage in time
    [ C    D   ] [Δy] = [ -r ]      C = ∂r/∂x,    D = ∂r/∂y

Each iteration solves for Δx once with the factor at hand, and then the small system (D + C A) Δy = -r - C Δx0
with A = K⁻¹ F S. A and C belong to the factor at hand and are kept with it.
"""

import math
from typing import NamedTuple

import numpy as np
from mpi4py import MPI
from petsc4py import PETSc

from annelid.geometry.body import FloatArray, IntArray
from annelid.solver.assembly.ports import ElectrodePort, Ports
from annelid.solver.continuation.eigenmodes import Eigenmode, softest_mode
from annelid.solver.continuation.newton import WORTH, Convergence, Newton, still_to_go
from annelid.solver.errors import NoEquilibrium
from annelid.solver.fluid.flow import Flow
from annelid.solver.fluid.flow_system import LumenState
from annelid.solver.fluid.integrator import InnerStage, StageResidual, stage_residual, starting_state
from annelid.solver.model.loads import Loads
from annelid.solver.readout.flow_values import FlowSample

TOLERANCE = 1e-11
"""Largest residual of a flow system over the size of its terms."""

_ITERATIONS = 40
# Iterations with the old factor that take as long as a new one with its border, measured at 5,000 unknowns.
_WORTH_ON_MERIDIANS = 5
_GROWTH, _HALVINGS = 2.0, 6  # a step after which the residual is larger by this factor is halved, so often
_FURTHEST = 0.1  # of the size of the part: motion in one iteration


class _Border(NamedTuple):
    """How a part responds to the unknowns of a flow, at its last factorised state.

    Attributes:
        response: A = K⁻¹ F S, shape (n, unknowns of the flow).
        rows: Unknowns of which volumes, charges or lengths are functions, shape (r,).
        gradients: Derivatives of the volumes and charges, and of the lengths, by these, shape (2, k, r).
        volumes: Change of the volumes and charges with y, shape (k, unknowns of the flow).
        lengths: Change of the lengths.
    """

    response: FloatArray
    rows: IntArray
    gradients: FloatArray
    volumes: FloatArray
    lengths: FloatArray


class CoupledNewton:
    """Solver of R(x; e(y)) = 0 and r(x, y) = 0.

    Attributes:
        newton: Solver of the part alone; its tolerances hold.
        flow: The flow systems.
        ports: Where they act.
        y: Their present unknowns, shape (n,).
    """

    def __init__(self, newton: Newton, flow: Flow) -> None:
        self.newton = newton
        self.flow = flow
        self.system = newton.system
        self.ports = Ports(self.system, flow)
        self.y = np.zeros(len(flow.system.names))
        names = tuple(electrode.name for electrode in self.system.problem.model.electrodes)
        self._electrodes = ElectrodePort(self.system, names) if names else None
        self._dx = self.system.vector()
        self._border: tuple[int, _Border] | None = None
        self._step = 0.0, self.y
        self._worth = _WORTH_ON_MERIDIANS if self.system.problem.mesh.domain.geometry.dim == 2 else WORTH

    def solve(self, loads: Loads, stage: InnerStage) -> Convergence:
        """Find the state of a stage in time near the present one.

        Args:
            loads: Loads that are given; those of the flow are added.
            stage: The stage.

        Raises:
            NoEquilibrium: The iteration diverged or did not end.
        """
        system, error, halvings = self.system, math.inf, 0
        self.apply(loads)
        for iteration in range(_ITERATIONS + 1):
            last, structure = error, self.newton.error()
            lumen = self.ports.state()
            residual = stage_residual(self.flow.system, stage, self.y, lumen)
            error = max(structure, self._flow_error(residual, lumen))
            if not error <= _GROWTH * last and halvings < _HALVINGS:  # nan, too
                halvings, error = halvings + 1, last
                self._go_half_back()
                self.apply(loads)
                continue
            halvings = 0
            if error <= 1:
                return Convergence(iteration, structure * self.newton.tolerance.force)
            if not math.isfinite(error):
                break
            if not system.factor_is_near or (iteration > 0 and still_to_go(error, last) > self._worth):
                system.factorise()
            self._correct(residual, lumen)
            self.apply(loads)
        raise NoEquilibrium(
            "the part and its flow were not found together", residual=error, iterations=iteration
        )

    def sample(self, time: float) -> FlowSample:
        """The present state with that of the flow at a time; its sums are left out."""
        electrodes, lumen = self._electrodes, self.ports.state()
        return FlowSample(
            starting_state(self.flow.system, self.y, lumen, time),
            lumen,
            self.ports.present(),
            electrodes.stored() if electrodes else np.zeros(0),
            electrodes.present(self.system.loads) if electrodes else np.zeros(0),
            {},
        )

    def apply(self, loads: Loads) -> None:
        """Put loads in force, with those of the flow."""
        self.system.apply(self.ports.apply(loads, self.flow.system.pressures @ self.y))

    def held_modes(self) -> int:
        """Unstable modes under given loads that are stable while volumes and charges are held; collective.

        They are the negative eigenvalues of ∂w/∂e + Gᵀ K⁻¹ F at the present, factorised state.
        """
        compliance = self._compliance()
        scale = 1 / np.sqrt(np.maximum(np.abs(np.diag(compliance)), 1e-300))
        return int((np.linalg.eigvalsh((compliance + compliance.T) * scale * scale[:, None]) < 0).sum())

    def softest_held(self) -> Eigenmode:
        """The mode of smallest stiffness in size while volumes and charges are held; collective.

        Raises:
            NoEquilibrium: The eigensolver found none.
        """
        return softest_mode(self.system, solve=self._solve_held)

    def _solve_held(self, forces: PETSc.Vec, out: PETSc.Vec) -> None:
        """Motion under forces while volumes and charges are held, at the present, factorised state."""
        self.system.solve(forces, out)
        border = self._present_border()
        change = self._sum(border.gradients[0] @ out.array_r[border.rows])
        loads = np.linalg.lstsq(self._compliance(), change)[0]
        out.array_w[:] -= border.response @ (np.linalg.pinv(self.flow.system.pressures) @ loads)

    def _compliance(self) -> FloatArray:
        """∂w/∂e with the motion of the part that loads cause, shape (k, k)."""
        return np.asarray(self._present_border().volumes @ np.linalg.pinv(self.flow.system.pressures))

    def _correct(self, residual: StageResidual, lumen: LumenState) -> None:
        """One step of Newton's method."""
        by_volumes, by_lengths = _by_volumes_and_lengths(residual, lumen)
        border = self._present_border()
        self.system.solve(self.system.residual, self._dx)
        self._dx.scale(-1.0)
        alone = self._sum(border.gradients @ self._dx.array_r[border.rows])
        D = residual.by_unknowns + by_volumes @ border.volumes + by_lengths @ border.lengths
        right = -residual.value - by_volumes @ alone[0] - by_lengths @ alone[1]
        try:
            Δy = np.linalg.solve(D, right)
        except np.linalg.LinAlgError:
            raise NoEquilibrium("the flow is not determined by its equations") from None
        self._dx.array_w[:] += border.response @ Δy
        part = min(1.0, _FURTHEST / max(self.newton.relative_motion(self._dx)[1], 1e-300))
        self._step = part, Δy
        self.system.x.axpy(part, self._dx)
        self.y = self.y + part * Δy

    def _go_half_back(self) -> None:
        """Halve the step taken last, for instance where a wall leaves an obstacle."""
        part, Δy = self._step
        self._step = part / 2, Δy
        self.system.x.axpy(-part / 2, self._dx)
        self.y = self.y - part / 2 * Δy

    def _present_border(self) -> _Border:
        """The border that belongs to the tangent factorised last."""
        tangents = self.system.count.tangents
        if self._border is None or self._border[0] != tangents:
            S, (directions, of_volumes) = self.flow.system.pressures, self.ports.derivatives()
            whole = np.stack([of_volumes.T, self.ports.length_gradients().T])
            rows = np.flatnonzero(whole.any(axis=(0, 1)))
            gradients = whole[:, :, rows]
            response = self.system.tangent.solve_columns(directions) @ S
            volumes, lengths = self._sum(gradients @ response[rows])
            volumes += self.ports.slopes()[:, None] * S
            self._border = tangents, _Border(response, rows, gradients, volumes, lengths)
        return self._border[1]

    def _flow_error(self, residual: StageResidual, lumen: LumenState) -> float:
        """Largest residual of the flow over its tolerance."""
        size = np.abs(residual.by_unknowns) @ self.flow.system.scales
        whole = np.pi * lumen.radii**2 * lumen.lengths  # with a cylinder in it, of which rounding is a part
        size += np.abs(residual.by_volumes) @ np.maximum(np.abs(lumen.volumes), whole)
        return float(np.max(np.abs(residual.value) / (TOLERANCE * np.maximum(size, 1e-300)), initial=0.0))

    def _sum(self, values: FloatArray) -> FloatArray:
        return np.asarray(self.system.problem.comm.allreduce(values, op=MPI.SUM))


def _by_volumes_and_lengths(residual: StageResidual, lumen: LumenState) -> tuple[FloatArray, FloatArray]:
    """Derivatives of the residual by volumes and lengths, where the radii are r = √(V/(π l) + c²)."""
    k = len(lumen.volumes)
    by_radii, by_lengths = residual.by_shape[:, :k], residual.by_shape[:, k:]
    with np.errstate(divide="ignore", invalid="ignore"):
        slope = np.where(lumen.radii > 0, 1 / (2 * math.pi * lumen.lengths * lumen.radii), 0.0)
    by_volumes = by_radii * slope
    return residual.by_volumes + by_volumes, by_lengths - by_volumes * lumen.volumes / lumen.lengths
