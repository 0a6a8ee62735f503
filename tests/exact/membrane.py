# SPDX-License-Identifier: MIT
"""Axisymmetric membranes between two rings, under pressure and voltage, as a boundary value problem.

Equilibrium of Green, Adkins, Large Elastic Deformations (1960), chapter 4, from memory, as the stationary
points of ∫ (H R Ŵ(λ1, λ2) - p r² z'/2) dS with λ1 = √(r'² + z'²), λ2 = r/R and, for a wall of sheets at the
voltage V, Ŵ = W - ε (V/h)² λ1² λ2²/2: the field lies across a film of thickness h/(λ1 λ2).
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy.integrate import solve_bvp
from scipy.interpolate import PPoly

FloatArray = np.ndarray


@dataclass(frozen=True)
class Membrane:
    """A film of Gent's law on a meridian.

    Attributes:
        radius: Undeformed radius over the arc length S.
        height: Undeformed height over the arc length.
        length: Arc length of the meridian.
        thickness: Undeformed thickness H.
        mu: Shear modulus.
        limit: Limit of I1 - 3.
    """

    radius: Callable[[FloatArray], FloatArray]
    height: Callable[[FloatArray], FloatArray]
    length: float
    thickness: float
    mu: float
    limit: float

    def forces(self, λ1: FloatArray, λ2: FloatArray, e: FloatArray) -> tuple[FloatArray, FloatArray]:
        """dŴ/dλ1 and dŴ/dλ2, where e = ε (V/h)²."""
        λ3 = 1 / (λ1 * λ2)
        slope = self.mu / (1 - (λ1**2 + λ2**2 + λ3**2 - 3) / self.limit)
        return (
            slope * (λ1 - λ3**2 / λ1) - e * λ1 * λ2**2,
            slope * (λ2 - λ3**2 / λ2) - e * λ1**2 * λ2,
        )

    def along(self, u: FloatArray, λ2: FloatArray, e: FloatArray) -> FloatArray:
        """λ1 at which dŴ/dλ1 = u, by bisection (it rises with λ1)."""
        low, high = np.full_like(u, 0.3), np.full_like(u, 3.0)
        for _ in range(60):
            middle = (low + high) / 2
            below = self.forces(middle, λ2, e)[0] < u
            low, high = np.where(below, middle, low), np.where(below, high, middle)
        return (low + high) / 2

    def deformed(
        self, pressure: float, field_energy: Callable[[FloatArray], FloatArray], *, plate: bool = False
    ) -> PPoly:
        """Radius r, height z and edge forces over S; both ends are fixed.

        With ``plate`` the high end is closed by a plate that moves freely along the axis, so that the film
        carries the thrust π r² p there: the natural boundary condition of the potential.
        """
        ends = np.array([0.0, self.length])
        r0, r1 = self.radius(ends)
        z0, z1 = self.height(ends)

        def slopes(S: FloatArray, y: FloatArray) -> FloatArray:
            r, _, Fr, Fz = y
            R = self.radius(S)
            size, e = np.hypot(Fr, Fz), field_energy(S)
            λ1 = self.along(size / (self.thickness * R), r / R, e)
            dr, dz = λ1 * Fr / size, λ1 * Fz / size
            hoop = self.thickness * self.forces(λ1, r / R, e)[1]
            return np.array([dr, dz, hoop - pressure * r * dz, pressure * r * dr])

        def held(a: FloatArray, b: FloatArray) -> FloatArray:
            axial = b[3] - pressure * b[0] ** 2 / 2 if plate else b[1] - z1
            return np.array([a[0] - r0, a[1] - z0, b[0] - r1, axial])

        S = np.linspace(0.0, self.length, 400)
        pull = 0.05 * self.mu * self.thickness * self.radius(S)
        start = np.array([self.radius(S), self.height(S), 0 * S, pull])
        found = solve_bvp(slopes, held, S, start, tol=1e-4, max_nodes=40000)
        assert found.success, found.message
        return found.sol

    def inflated(
        self, pressure: float, field_energy: Callable[[FloatArray], FloatArray]
    ) -> Callable[[float], float]:
        """Radius of the inner face at given S; both ends are fixed."""
        deformed = self.deformed(pressure, field_energy)

        def inner(at: float) -> float:
            (r, *_), (dr, dz, *_) = deformed(at), deformed(at, 1)
            return float(r - self.thickness / 2 / (np.hypot(dr, dz) * r / self.radius(at)))

        return inner
