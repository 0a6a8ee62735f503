# SPDX-License-Identifier: MIT
"""Incompressible spheres under internal pressure.

With W^(λ) = W(λ, λ, λ^-2) of a spherical shell A <= R <= B, r³ = a³ + R³ - A³, λ = r/R:

    P = ∫ W^'(λ) / (λ³ - 1) dl from lb to la;      thin wall: P = (H/R) W^'(λ)/λ².

Green, Adkins, Large Elastic Deformations (1960), and Treloar, The Physics of Rubber Elasticity (1975), from
memory.
"""

import numpy as np

_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(30)


def outer_stretch(la: float, A: float, B: float) -> float:
    """lb³ = 1 + (la³ - 1)(A/B)³."""
    return float(np.cbrt(1 + (la**3 - 1) * (A / B) ** 3))


def neo_hookean_pressure(mu: float, la: float, A: float, B: float) -> float:
    """Thick wall: P = μ [2/lb + 1/(2 lb⁴) - 2/la - 1/(2 la⁴)]."""
    lb = outer_stretch(la, A, B)
    return mu * (2 / lb + 1 / (2 * lb**4) - 2 / la - 1 / (2 * la**4))


def gent_pressure(mu: float, Jm: float, la: float, A: float, B: float) -> float:
    """Thick wall of Gent's material by quadrature; W^' = μ (2 λ - 2 λ⁻⁵) · 2/(…) with I1 = 2 λ² + λ⁻⁴."""
    lb = outer_stretch(la, A, B)
    λ = (la + lb) / 2 + (la - lb) / 2 * _NODES
    slope = 2 * mu * (λ - λ**-5) / (1 - (2 * λ**2 + λ**-4 - 3) / Jm)
    return float((la - lb) / 2 * _WEIGHTS @ (slope / (λ**3 - 1)))


def thin_pressure(mu: float, λ: float, Jm: float = np.inf) -> float:
    """P R/(μ H) μ of a thin wall: 2 μ (λ⁻¹ - λ⁻⁷), divided by 1 - (I1 - 3)/Jm for Gent's material."""
    return 2 * mu * (1 / λ - λ**-7) / (1 - (2 * λ**2 + λ**-4 - 3) / Jm)
