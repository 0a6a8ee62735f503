# SPDX-License-Identifier: MIT
"""Rings and thick tubes between two pressures or pulled radially: the radial equilibrium as an equation of R.

With λ = r/R, l = r' and the nominal stresses P_r = W_l, P_h = W_λ per axial stretch,

    dP_r/dR = (P_h - P_r)/R,   that is   W_ll r'' = (P_h - P_r)/R - W_lλ (l - λ)/R.

A pressure P gives P_r = -P λ lz there, a dead force N on a ring of height H gives P_r = N/(2π R H). Thin
sheets with W(l, λ, 1/(l λ)): Rivlin, Thomas, Phil. Trans. R. Soc. A 243, 289 (1951), from memory.
"""

from collections.abc import Callable
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy.integrate import solve_bvp

FloatArray = NDArray[np.float64]


class Slopes(NamedTuple):
    """P_r, P_h, W_ll and W_lλ of a law, and the thickness stretch, at (l, λ)."""

    radial: FloatArray
    hoop: FloatArray
    stiffness: FloatArray
    coupling: FloatArray
    axial: FloatArray


Law = Callable[[FloatArray, FloatArray], Slopes]
# Out-of-balance radial stress of a face from (P_r, λ, axial stretch).
Face = Callable[[float, float, float], float]


def compressible(mu: float, kappa: float, lz: float = 1.0) -> Law:
    """W = μ/2 (J^(-2/3) I1 - 3) + κ/2 (J - 1)² at a given axial stretch (plane strain)."""

    def slopes(l: FloatArray, λ: FloatArray) -> Slopes:  # noqa: E741
        J, I1 = l * λ * lz, l**2 + λ**2 + lz**2
        m = mu * J ** (-2 / 3)
        radial = m * (l - I1 / (3 * l)) + kappa * (J - 1) * J / l
        hoop = m * (λ - I1 / (3 * λ)) + kappa * (J - 1) * J / λ
        stiffness = m * (5 * I1 / (9 * l**2) - 1 / 3) + kappa * (λ * lz) ** 2
        coupling = m * (-2 / (3 * λ) * (l - I1 / (3 * l)) - 2 * λ / (3 * l)) + kappa * lz * (2 * J - 1)
        return Slopes(radial, hoop, stiffness, coupling, np.full_like(l, lz))

    return slopes


def sheet(mu: float) -> Law:
    """Incompressible neo-Hookean sheet, free across its plane: W = μ/2 (l² + λ² + (l λ)⁻² - 3)."""

    def slopes(l: FloatArray, λ: FloatArray) -> Slopes:  # noqa: E741
        radial, hoop = mu * (l - l**-3 * λ**-2), mu * (λ - λ**-3 * l**-2)
        return Slopes(radial, hoop, mu * (1 + 3 * l**-4 * λ**-2), 2 * mu * (l * λ) ** -3, 1 / (l * λ))

    return slopes


def pressed(P: float) -> Face:
    """A face under a follower pressure."""
    return lambda radial, λ, axial: radial + P * λ * axial


def pulled(T: float) -> Face:
    """A face under a dead radial stress per undeformed area."""
    return lambda radial, λ, axial: radial - T


def deformed_radii(law: Law, A: float, B: float, inner: Face, outer: Face) -> tuple[float, float]:
    """Deformed inner and outer radius of A <= R <= B."""

    def equilibrium(R: FloatArray, y: FloatArray) -> FloatArray:
        r, l = y  # noqa: E741
        s = law(l, r / R)
        return np.stack([l, ((s.hoop - s.radial) - s.coupling * (l - r / R)) / R / s.stiffness])

    def faces(at_A: FloatArray, at_B: FloatArray) -> FloatArray:
        values = []
        for (r, l), R, face in ((at_A, A, inner), (at_B, B, outer)):  # noqa: E741
            s = law(np.array([l]), np.array([r / R]))
            values.append(face(float(s.radial[0]), r / R, float(s.axial[0])))
        return np.array(values)

    R = np.linspace(A, B, 41)
    solution = solve_bvp(equilibrium, faces, R, np.stack([R, np.ones_like(R)]), tol=1e-8)
    assert solution.success, solution.message
    return float(solution.y[0, 0]), float(solution.y[0, -1])


def lame_pull(T: float, E: float, nu: float, A: float, B: float, R: float) -> float:
    """Displacement of a thin elastic ring pulled by T at its outer edge (Lamé, plane stress; from memory)."""
    return T * B**2 / (E * (B**2 - A**2)) * ((1 - nu) * R + (1 + nu) * A**2 / R)
