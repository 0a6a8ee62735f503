# SPDX-License-Identifier: MIT
"""Torsion of incompressible Mooney-Rivlin tubes and rods with free lateral surfaces, stretched and twisted.

r² = a² + (R² - A²)/lz,  θ = Θ + τ Z,  z = lz Z. With σ = -p + 2 c1 B - 2 c2 B⁻¹ and σ_r = 0 at a and b,

    ∫ (σ_θ - σ_r)/r dr = 0,    M = 2π ∫ r² σ_θz dr,    N = π ∫ r (2 σ_z - σ_r - σ_θ) dr.

Rivlin, Phil. Trans. R. Soc. A 242, 173 (1949), from memory; the last formula by own integration by parts.
"""

from typing import NamedTuple

import numpy as np
from scipy.optimize import brentq

_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(40)


class Torsion(NamedTuple):
    """Deformed inner radius, torque and axial force of the wall."""

    a: float
    torque: float
    force: float


def torsion(c1: float, c2: float, A: float, B: float, τ: float, lz: float = 1.0) -> Torsion:
    """Twist τ a drawn length, rad/mm, at the axial stretch lz; A = 0 for a rod."""

    def integrals(a: float) -> tuple[float, float, float]:
        R = (A + B) / 2 + (B - A) / 2 * _NODES
        r = np.sqrt(a**2 + (R**2 - A**2) / lz)
        F = np.zeros((len(R), 3, 3))
        F[:, 0, 0], F[:, 1, 1], F[:, 1, 2], F[:, 2, 2] = R / (r * lz), r / R, r * τ, lz
        b = F @ np.swapaxes(F, 1, 2)
        σ = 2 * c1 * b - 2 * c2 * np.linalg.inv(b)
        dr = (B - A) / 2 * _WEIGHTS * R / (r * lz)
        hoop = float(dr @ ((σ[:, 1, 1] - σ[:, 0, 0]) / r))
        torque = 2 * np.pi * float(dr @ (r**2 * σ[:, 1, 2]))
        force = np.pi * float(dr @ (r * (2 * σ[:, 2, 2] - σ[:, 0, 0] - σ[:, 1, 1])))
        return hoop, torque, force

    a = brentq(lambda a: integrals(a)[0], 0.3 * A, 2 * A, xtol=1e-14) if A else 0.0
    return Torsion(a, *integrals(a)[1:])
