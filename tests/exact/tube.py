# SPDX-License-Identifier: MIT
"""Thick incompressible tubes under pressure and axial stretch: exact radial solutions.

A, B (a, b) are the reference (deformed) inner and outer radius, la = a/A, lz the axial stretch. With the hoop
stretch λ = r/R and W^(λ, lz) = W(1/(λ lz), λ, lz),

    P = ∫ (r/R) W^_l R / (lz r²) dR,      F = π ∫ (2 lz W^_lz - λ W^_l) R / lz dR,

where F = axial force of the wall - P π a² is the reaction of a clamp on a tube with closed ends. Rivlin,
Phil. Trans. R. Soc. A 242, 173 (1949), and Haughton, Ogden, J. Mech. Phys. Solids 27, 179 (1979), both from
memory.
"""

from collections.abc import Callable
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import brentq

FloatArray = NDArray[np.float64]
# Derivatives (W^_l, W^_lz) at (λ, lz).
Slopes = Callable[[FloatArray, float], tuple[FloatArray, FloatArray]]

_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(40)


def radius(R: FloatArray | float, A: float, la: float, lz: float) -> FloatArray:
    """Deformed radius of the material circle R: r² = a² + (R² - A²)/lz."""
    return np.sqrt((la * A) ** 2 + (np.asarray(R) ** 2 - A**2) / lz)


def mooney_rivlin(c1: float, c2: float = 0.0) -> Slopes:
    """W = c1 (I1 - 3) + c2 (I2 - 3); neo-Hookean with μ = 2 c1 where c2 is 0."""

    def slopes(λ: FloatArray, z: float) -> tuple[FloatArray, FloatArray]:
        hoop = 2 * c1 * (λ - 1 / (λ**3 * z**2)) + 2 * c2 * (λ * z**2 - 1 / λ**3)
        axial = 2 * c1 * (z - 1 / (λ**2 * z**3)) + 2 * c2 * (λ**2 * z - 1 / z**3)
        return hoop, axial

    return slopes


def helical_fibres(mu: float, angle: float, k1: float, k2: float) -> Slopes:
    """Neo-Hookean matrix with a balanced pair of fibre families at ±angle (degrees) from the hoop.

    Both families have I4 = λ² cos² + lz² sin² and the pair causes no twist, so the radial formulas above hold
    with W = μ/2 (I1 - 3) + k1/(2 k2) (exp(k2 (I4 - 1)²) - 1) where I4 > 1. Own derivation
    from these formulas.
    """
    c2, s2 = np.cos(np.deg2rad(angle)) ** 2, np.sin(np.deg2rad(angle)) ** 2
    matrix = mooney_rivlin(mu / 2)

    def slopes(λ: FloatArray, z: float) -> tuple[FloatArray, FloatArray]:
        hoop, axial = matrix(λ, z)
        e = np.maximum(λ**2 * c2 + z**2 * s2 - 1, 0.0)
        fibre = k1 * e * np.exp(k2 * e**2)
        return hoop + fibre * 2 * λ * c2, axial + fibre * 2 * z * s2

    return slopes


def pressure_and_force(W: Slopes, A: float, B: float, la: float, lz: float) -> tuple[float, float]:
    """P (inner over outer pressure) and reduced axial force F."""
    R = (A + B) / 2 + (B - A) / 2 * _NODES
    w = (B - A) / 2 * _WEIGHTS
    r = radius(R, A, la, lz)
    λ = r / R
    hoop, axial = W(λ, lz)
    P = float(w @ (λ * hoop * R / (lz * r**2)))
    F = float(np.pi * w @ ((2 * lz * axial - λ * hoop) * R / lz))
    return P, F


def neo_hookean_pressure(mu: float, A: float, B: float, la: float, lz: float) -> float:
    """P = μ/lz² [lz ln(la/lb) + 1/(2 lb²) - 1/(2 la²)]."""
    lb = float(radius(B, A, la, lz)) / B
    return mu / lz**2 * (lz * np.log(la / lb) + 1 / (2 * lb**2) - 1 / (2 * la**2))


def capped_stretch(W: Slopes, A: float, B: float, la: float) -> float:
    """Axial stretch of a closed tube without axial force, F = 0."""
    return float(brentq(lambda lz: pressure_and_force(W, A, B, la, lz)[1], 0.8, 3.0, xtol=1e-14))


def bonded(
    la: float,
    radii: tuple[float, float, float],
    moduli: tuple[float, float],
    natural: tuple[tuple[float, float, float], tuple[float, float, float]],
    lz: float,
) -> tuple[float, float, FloatArray]:
    """Two bonded neo-Hookean tubes with natural stretches at prescribed lz; own derivation.

    Each layer has its own stress-free lengths G = (normal, hoop, axial) over the drawn ones, and keeps its
    stress-free volume: r dr = det G R dR / lz. The elastic stretches are e_hoop = r/(R G_hoop), e_z = lz/G_z,
    e_r = 1/(e_hoop e_z); radial balance dσr/dr = (σ_hoop - σr)/r gives the pressure, as for a shrink fit.

    Returns:
        Pressure P, axial wall force N = 2π ∫ σz r dr, and the deformed radii (inner, interface, outer).
    """
    r = [la * radii[0]]
    for G, low, high in zip(natural, radii[:-1], radii[1:], strict=True):
        r.append(np.sqrt(r[-1] ** 2 + np.prod(G) * (high**2 - low**2) / lz))
    P, work = 0.0, []
    for mu, G, (R0, R1), r0 in zip(moduli, natural, pairwise(radii), r, strict=False):
        R = (R0 + R1) / 2 + (R1 - R0) / 2 * _NODES
        w = (R1 - R0) / 2 * _WEIGHTS * np.prod(G) * R / lz  # r dr
        now = np.sqrt(r0**2 + np.prod(G) * (R**2 - R0**2) / lz)
        hoop, axial = now / (R * G[1]), lz / G[2]
        normal = 1 / (hoop * axial)
        P += float(w @ (mu * (hoop**2 - normal**2) / now**2))
        work.append(float(w @ (mu * (2 * axial**2 - hoop**2 - normal**2))))
    # ∫ σz 2π r dr = π P a² + π ∫ (2 σz - σr - σhoop) r dr
    return P, np.pi * (P * r[0] ** 2 + sum(work)), np.array(r)
