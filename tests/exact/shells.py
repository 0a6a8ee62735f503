# SPDX-License-Identifier: MIT
"""Thin spheres under pressure and voltage, films under voltage, and where their loads have extremes.

Scaled: λ is the stretch in the wall, p = P R/(μ H), φ = (V/H) √(ε/μ) the nominal field. Own derivation from
the energy W(λ, λ, λ⁻²) - φ² λ⁴/2 of a wall element; without voltage the membrane formulas are classical
(Green, Adkins, Large Elastic Deformations; Treloar; from memory).
"""

from collections.abc import Callable

import numpy as np
from scipy.optimize import brentq

Slope = Callable[[float], float]


def slope(λ: float, *, J: float = np.inf, ratio: float = 0.0) -> float:
    """dW/dλ of equal-biaxial stretch over μ.

    Args:
        λ: Stretch in the wall.
        J: Limit of I1 - 3 in Gent's law W = -(J/2) ln(1 - (I1 - 3)/J); infinite is neo-Hookean.
        ratio: c2/c1 of a Mooney-Rivlin wall with μ = 2 (c1 + c2); I2 = λ⁴ + 2 λ⁻².
    """
    I1 = 2 * λ**2 + λ**-4
    first = 2 * (λ - λ**-5) / (1 - (I1 - 3) / J)
    return (first + ratio * 2 * (λ**3 - λ**-3)) / (1 + ratio)


def sphere_pressure(λ: float, φ: float = 0.0, **law: float) -> float:
    """P = W'(λ)/λ² - 2 φ² λ."""
    return slope(λ, **law) / λ**2 - 2 * φ**2 * λ


def sphere_field(λ: float, p: float = 0.0, **law: float) -> float:
    """φ² at given pressure, p = 0: of a free film."""
    return (slope(λ, **law) / λ**2 - p) / (2 * λ)


def extremes(f: Slope, low: float, high: float) -> list[float]:
    """Where f has its maxima and minima between two stretches, in order, by roots of its slope."""
    h = 1e-5

    def df(x: float) -> float:
        return (f(x + h) - f(x - h)) / (2 * h)

    grid = np.linspace(low, high, 400)
    signs = np.sign([df(x) for x in grid])
    ends = np.flatnonzero(signs[1:] != signs[:-1])
    return [float(brentq(df, grid[i], grid[i + 1], xtol=1e-13)) for i in ends]
