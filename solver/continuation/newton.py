# SPDX-License-Identifier: MIT
"""Newton's method on the bordered system, with factorisations kept as long as they serve."""

import math
from dataclasses import dataclass

from petsc4py import PETSc

from annelid.solver.assembly.system import System
from annelid.solver.continuation.control import Control
from annelid.solver.errors import NoEquilibrium
from annelid.solver.model.loads import Loads
from annelid.solver.model.scales import Scales
from annelid.solver.model.stepping import Tolerance

# A factorisation costs as much as 10 (axisymmetric) to 30 (3-D) further iterations with the old one (measured
# at 45,000 unknowns), so the old factor is kept as long as it promises to converge within so many.
WORTH = 10
GROWTH_LIMIT = 1e6  # a residual this much above the first one is a divergence
ITERATIONS = 30
# In a wall thinner than about 1/100 of its radius rounding alone can keep the residual above its tolerance:
# strains, and with them wall stresses far above the pressure, are known to 1e-16 R/H only. A state is then as
# good as it gets if a full Newton step neither lowers a residual this near to its tolerance nor moves the
# part, nor changes the load that a control finds.
NEAR, IDLE, IDLE_LOAD = 1e5, 2e-12, 1e-5
SHORTENED = 8  # times at most that a step is halved where walls fold


@dataclass(frozen=True)
class Convergence:
    """How a state was reached: iterations taken and the last relative residual."""

    iterations: int
    residual: float


class Newton:
    """Solver of R(x; loads) = 0, or of that and a condition with a load parameter as its multiplier.

    Attributes:
        system: The equations and their state.
        scales: Reference magnitudes.
        tolerance: When a state counts as converged.
    """

    def __init__(self, system: System, scales: Scales, tolerance: Tolerance | None = None) -> None:
        self.system = system
        self.scales = scales
        self.tolerance = tolerance or Tolerance()
        self._dx, self._f, self._a, self._g = (system.vector() for _ in range(4))
        self._Δλ = 0.0  # of the last correction
        self._load_step = 0.0  # of the last correction, over the load

    def solve(self, loads: Loads, control: Control | None = None) -> Convergence:
        """Find the equilibrium near the present state; on return the residual is converged.

        Args:
            loads: Loads in force; overridden by those of ``control`` if there is one.
            control: Condition whose multiplier is an unknown; the multiplier of the system is its first guess
                and takes the result.

        Raises:
            NoEquilibrium: The iteration diverged, stalled or met a singular tangent.
        """
        system = self.system
        system.apply(loads if control is None else control.loads)
        first = last = math.inf
        fresh = False
        for iteration in range(ITERATIONS + 1):
            error = self._error_of_step(control, last)
            if error <= 1 or (fresh and self._rounded(error, last)):
                return Convergence(iteration, error * self.tolerance.force)
            if not math.isfinite(error) or error > GROWTH_LIMIT * min(first, 1e12):
                raise NoEquilibrium("the iteration diverged", residual=error, iterations=iteration)
            first = min(first, error)
            fresh = not system.factor_is_near or (iteration > 0 and still_to_go(error, last) > WORTH)
            fresh |= iteration > 0 and self._folds
            if fresh:
                system.factorise()
            last = error
            self._correct(control)
        why = f"no convergence in {ITERATIONS} iterations"
        if self._moved() < 100 * IDLE:
            why += ", because of rounding: the wall is too thin for its radius in this state"
        raise NoEquilibrium(why, residual=error, iterations=ITERATIONS)

    def _error_of_step(self, control: Control | None, last: float) -> float:
        """``error`` after a step, which is shortened in models with walls that fold until it falls.

        The stiffness of such a wall jumps where it goes slack, so that a whole step may lead far beyond.

        Raises:
            NoEquilibrium: No step lowers the residual.
        """
        if not self._folds or not math.isfinite(last) or last < NEAR:
            return self.error(control)
        error = self._error_or_none(control)
        for _ in range(SHORTENED):
            if error < last:
                return error
            self._dx.scale(0.5)
            self._Δλ *= 0.5
            self.system.x.axpy(-1.0, self._dx)
            self.system.multiplier -= self._Δλ
            if control is not None:
                self.system.apply(control.loads)
            error = self._error_or_none(control)
        if not error < last:
            raise NoEquilibrium("no step lowers the residual", residual=last)
        return error

    def _error_or_none(self, control: Control | None) -> float:
        """``error``, infinite where no folds are found."""
        try:
            return self.error(control)
        except NoEquilibrium:
            return math.inf

    @property
    def _folds(self) -> bool:
        return self.system.problem.folds is not None

    def _rounded(self, error: float, last: float) -> bool:
        """Whether the step taken last, with a tangent of its own, met nothing but rounding."""
        return 0.1 * last < error < NEAR and self._load_step < IDLE_LOAD and self._moved() < IDLE

    def relative_motion(self, vector: PETSc.Vec) -> tuple[float, float]:
        """Root mean square and largest component of a change of displacement, over the size of the part."""
        blocks, length = self.system.blocks, self.scales.length
        nodes = len(self.system.problem.model.body.points)
        norm, largest = blocks.norms(vector)[0], blocks.largest_motion(vector)
        return norm / (math.sqrt(nodes) * length), largest / length

    def _moved(self) -> float:
        """Motion of the part in the step taken last, root mean square over its size."""
        return self.relative_motion(self._dx)[0]

    def border(self, control: Control) -> tuple[PETSc.Vec, float]:
        """K⁻¹f of a control and gᵀK⁻¹f + h, with the tangent factorised last."""
        control.direction(self._f)
        self.system.solve(self._f, self._a)
        control.condition.gradient(self._g)
        return self._a, float(self._g.dot(self._a)) + control.condition.slope()

    def condition_pivot(self, control: Control) -> float:
        """gᵀK⁻¹g of a condition, with the tangent factorised last."""
        control.condition.gradient(self._g)
        self.system.zero_fixed(self._g)
        self.system.solve(self._g, self._a)
        return float(self._g.dot(self._a))

    def gradient_product(self, vector: PETSc.Vec) -> float:
        """Product gᵀv with the gradient of the condition that ``border`` used last."""
        return float(self._g.dot(vector))

    def _correct(self, control: Control | None) -> None:
        """One step of [K, -f; gᵀ, h] (Δx, Δλ) = (-R, c* - c); the border only under a control."""
        system = self.system
        system.solve(system.residual, self._dx)
        self._dx.scale(-1.0)
        self._load_step = self._Δλ = 0.0
        if control is None:
            system.x.axpy(1.0, self._dx)
            return
        a, pivot = self.border(control)
        if pivot == 0 or not math.isfinite(pivot):
            raise NoEquilibrium("the loads of the stage do not change what it controls", residual=pivot)
        Δλ = (control.defect() - float(self._g.dot(self._dx))) / pivot
        self._Δλ = Δλ
        self._dx.axpy(Δλ, a)
        system.x.axpy(1.0, self._dx)
        system.multiplier += Δλ
        self._load_step = abs(Δλ) / max(abs(system.multiplier), 1e-300)
        system.apply(control.loads)

    def error(self, control: Control | None = None) -> float:
        """Largest residual over its tolerance; 1 is converged."""
        system, tolerance = self.system, self.tolerance
        system.assemble_residual()
        force, defect, *charge = system.reduced_norm(system.residual)
        reaction, _, *total_charge = system.blocks.norms(system.raw)
        scale = max(tolerance.force * max(reaction, system.load_norm()), tolerance.floor * self.scales.force)
        errors = [force / scale, defect / (tolerance.volume * self.scales.volume)]
        errors += [
            free / max(tolerance.force * total, 1e-16)
            for free, total in zip(charge, total_charge, strict=True)
        ]
        if control is not None:
            errors.append(abs(control.defect()) / (tolerance.volume * control.condition.scale))
        return max(errors) if all(math.isfinite(e) for e in errors) else math.inf


def still_to_go(error: float, last: float) -> float:
    """Iterations until convergence (error 1) if the error goes on falling by the same factor."""
    return math.inf if error >= 0.9 * last else math.log(error) / math.log(last / error)
