# SPDX-License-Identifier: MIT
"""Flow of a fluid of a power law between a round wall and a cylinder on the axis.

For the radii R and c = κ R and the gradient G = -dp/dz::

    q = π R³ n/(3n + 1) (R G/(2 K))^(1/n) [(1 - λ²)^(1 + 1/n) - κ^(1 - 1/n) (λ² - κ²)^(1 + 1/n)]

The shear stress is zero at λ R, where the velocities from both walls meet. R. W. Hanks and K. M. Larsen,
Ind. Eng. Chem. Fundam. 18, 33 (1979), from memory; checked by direct quadrature.
"""

import math
from collections.abc import Callable
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

type _Array = NDArray[np.float64]

_SMALLEST, _NARROWEST, _POINTS = 1e-5, 1e-3, 200  # of κ and of 1 - κ, and points between them
_NODES = 40  # of a quadrature


def annular_width(radii: _Array, core: float, index: float) -> tuple[_Array, _Array]:
    """B in q = B K^(-1/n) τ^(1/n) with the mean stress τ = (R - c) G/2 on the walls.

    Args:
        radii: R > c in mm, shape (m,).
        core: c in mm; 0 is a round tube, where B = π R³ n/(3n + 1).
        index: Flow index n.

    Returns:
        B in mm³ and its derivative by R in mm², each of shape (m,).
    """
    pipe = math.pi * index / (3 * index + 1) * radii**3
    if core == 0:
        return pipe, 3 * pipe / radii
    κ = core / radii
    shape, slope = _shape(index)(κ)
    width = pipe * (1 - κ) ** 2 * shape
    by_ratio = pipe * (1 - κ) * ((1 - κ) * slope - 2 * shape)
    return width, (3 * width - κ * by_ratio) / radii


@lru_cache(maxsize=8)
def _shape(n: float) -> Callable[[_Array], tuple[_Array, _Array]]:
    """The bracket above over (1 - κ)^(2 + 1/n), and its slope, over κ: a spline, constant beyond its ends."""
    from scipy.interpolate import CubicSpline  # start-up that cases without an obstacle need not pay

    places = np.linspace(math.log(_SMALLEST), math.log1p(-_NARROWEST), _POINTS)
    values = _brackets(np.exp(places), n) / (-np.expm1(places)) ** (2 + 1 / n)
    spline = CubicSpline(places, values)

    def shape(κ: _Array) -> tuple[_Array, _Array]:
        x = np.log(κ)
        at = np.clip(x, places[0], places[-1])
        return spline(at), np.where(at == x, spline(at, 1) / κ, 0.0)

    return shape


def _brackets(ratios: _Array, n: float) -> _Array:
    """The bracket for ratios κ; λ is where ∫ (sinh s)^(1/n) exp(∓s) ds, s = ±ln λ/x, agree on both sides."""
    from scipy.optimize import brentq
    from scipy.special import roots_jacobi

    x, weights = roots_jacobi(_NODES, 0.0, 1 / n)

    def velocity(length: float, sign: float) -> float:
        s = length * (1 + x) / 2
        return float((length / 2) ** (1 + 1 / n) * weights @ ((np.sinh(s) / s) ** (1 / n) * np.exp(sign * s)))

    def bracket(κ: float) -> float:
        whole = -math.log(κ)
        share = brentq(
            lambda a: velocity(a * whole, -1.0) - velocity((1 - a) * whole, 1.0), 1e-9, 1 - 1e-9, xtol=1e-15
        )
        λ2 = κ ** (2 - 2 * share)
        return float((1 - λ2) ** (1 + 1 / n) - κ ** (1 - 1 / n) * (λ2 - κ**2) ** (1 + 1 / n))

    return np.array([bracket(κ) for κ in ratios])
