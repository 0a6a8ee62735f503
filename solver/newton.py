# SPDX-License-Identifier: MIT
"""Newton's method on the bordered system, with factorisations kept as long as they serve."""

import math
from dataclasses import dataclass

import dolfinx_solver  # noqa: F401  (orders MPI ahead of the bindings)

from petsc4py import PETSc

from solver.errors import NoEquilibrium
from solver.loads import Loads
from solver.system import System

KEEP_RATIO = 0.3  # a residual that falls by less than this a step calls for a new factorisation (measured)
GROWTH_LIMIT = 1e6  # a residual this much above the first one is a divergence
ITERATIONS = 30


@dataclass(frozen=True)
class Tolerance:
    """When a state counts as converged.

    Attributes:
        force: Out-of-balance force relative to the forces at play.
        floor: The same relative to μ L², where no forces are at play.
        volume: Volume defect relative to the stress-free volume.
    """

    force: float = 1e-8
    floor: float = 1e-11
    volume: float = 1e-9


@dataclass(frozen=True)
class Convergence:
    """How a state was reached: iterations taken and the last relative residual."""

    iterations: int
    residual: float


@dataclass(frozen=True)
class Scales:
    """Reference magnitudes of a model: force μ L² in N, volume in mm³, length L in mm."""

    force: float
    volume: float
    length: float


class Newton:
    """Solver of R(x; loads) = 0, or of that and V(x) = V* with the pressure as multiplier.

    Attributes:
        system: The equations.
        pressure: Lumen pressure of the last solution, MPa (an unknown under volume control).
    """

    def __init__(self, system: System, scales: Scales, tolerance: Tolerance | None = None) -> None:
        self.system = system
        self.scales = scales
        self.tolerance = tolerance or Tolerance()
        self._dx = system.vector()
        self._a = system.vector()
        self.factorised = False
        self.pressure = 0.0

    def solve(self, loads: Loads, *, volume: float | None = None) -> Convergence:
        """Find the equilibrium near the present ``system.x``; on return the residual is converged.

        Args:
            loads: Loads in force; the pressure is only the first guess when ``volume`` is given.
            volume: Enclosed volume of the whole part to reach, mm³.

        Raises:
            NoEquilibrium: The iteration diverged, stalled or met a singular tangent.
        """
        system = self.system
        system.apply(loads)
        self.pressure = loads.pressure
        first = last = math.inf
        for iteration in range(ITERATIONS + 1):
            error = self._error(volume)
            if error <= 1:
                return Convergence(iteration, error * self.tolerance.force)
            if not math.isfinite(error) or error > GROWTH_LIMIT * min(first, 1e12):
                raise NoEquilibrium("the iteration diverged", residual=error, iterations=iteration)
            first = min(first, error)
            if not self.factorised or (iteration > 0 and error > KEEP_RATIO * last):
                system.factorise()
                self.factorised = True
            last = error
            self._correct(volume)
        raise NoEquilibrium(
            f"no convergence in {ITERATIONS} iterations", residual=error, iterations=ITERATIONS
        )

    def _correct(self, volume: float | None) -> None:
        """One step of [K, -f; fᵀ, 0] (Δx, ΔP) = (-R, V* - V); the border only under volume control."""
        system = self.system
        system.solve(system.residual, self._dx)
        self._dx.scale(-1.0)
        if volume is not None:
            system.solve(self.free(system.f), self._a)
            defect = (volume - system.volume()) / system.problem.model.body.copies
            ΔP = (defect - system.f.dot(self._dx)) / system.f.dot(self._a)
            self._dx.axpy(ΔP, self._a)
            self.pressure += ΔP
        system.x.axpy(1.0, self._dx)
        if volume is not None:
            system.set_pressure(self.pressure)

    def free(self, vector: PETSc.Vec) -> PETSc.Vec:
        """The vector with zeros at fixed unknowns (in place)."""
        self.system.zero_fixed(vector)
        return vector

    def _error(self, volume: float | None) -> float:
        """Largest residual over its tolerance; 1 is converged."""
        system, tolerance = self.system, self.tolerance
        system.assemble_residual()
        force, defect, *charge = system.reduced_norm(system.residual)
        reaction = system.block_norms(system.raw)[0]
        scale = max(tolerance.force * max(reaction, system.load_norm()), tolerance.floor * self.scales.force)
        errors = [force / scale, defect / (tolerance.volume * self.scales.volume)]
        if charge:
            held = system.block_norms(system.raw)[2]
            errors.append(charge[0] / max(tolerance.force * held, 1e-16))
        if volume is not None:
            errors.append(
                abs(system.volume() - volume) / (tolerance.volume * max(volume, self.scales.volume))
            )
        return max(errors) if all(math.isfinite(e) for e in errors) else math.inf
