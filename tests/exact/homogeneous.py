# SPDX-License-Identifier: MIT
"""Nominal stress of incompressible materials in uniform tension, equal-biaxial tension and pure shear.

For W(I1, I2), with W1 and W2 its derivatives (Rivlin, Saunders, Phil. Trans. R. Soc. A 243, 251, 1951, from
memory; Treloar, The Physics of Rubber Elasticity, 1975, from memory):

    uniaxial  S = 2 (λ - λ⁻²)(W1 + W2/λ)          I1 = λ² + 2/λ       I2 = 2 λ + λ⁻²
    biaxial   S = 2 (λ - λ⁻⁵)(W1 + λ² W2)         I1 = 2 λ² + λ⁻⁴     I2 = λ⁴ + 2 λ⁻²
    shear     S = 2 (λ - λ⁻³)(W1 + W2)            I1 = I2 = λ² + 1 + λ⁻²

Ogden's form is differentiated along the same paths; Fung's is taken along its axis of symmetry.
"""

from collections.abc import Callable, Mapping

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.optimize import brentq

FloatArray = NDArray[np.float64]
MODES = ("uniaxial", "biaxial", "shear")
# Principal stretches (λ, second, third) of each mode; S acts along the first (biaxial: first and second).
STRETCHES: dict[str, Callable[[float], tuple[float, float, float]]] = {
    "uniaxial": lambda λ: (λ, λ**-0.5, λ**-0.5),
    "biaxial": lambda λ: (λ, λ, λ**-2),
    "shear": lambda λ: (λ, 1.0, 1 / λ),
}


def inverse_langevin(y: ArrayLike) -> FloatArray:
    """β with coth β - 1/β = y, by bisection to the last digit: an exact inverse, not an approximation."""

    def one(value: float) -> float:
        if value < 1e-8:
            return 3 * value
        top = 2 / (1 - value) + 10
        return float(brentq(lambda b: 1 / np.tanh(b) - 1 / b - value, 1e-7, top, xtol=1e-15, rtol=1e-15))

    return np.vectorize(one)(np.asarray(y, dtype=float))


def nominal_stress(law: str, parameters: Mapping, mode: str, stretch: ArrayLike) -> FloatArray:
    """S of a law by the names the case files use, at stretches along the first direction."""
    λ = np.asarray(stretch, dtype=float)
    if law == "ogden":
        return _ogden(parameters["moduli"], parameters["exponents"], mode, λ)
    if law == "fung":
        return _fung(*(parameters[k] for k in ("stiffness", "fibre", "cross")), mode, λ)
    I1 = {"uniaxial": λ**2 + 2 / λ, "biaxial": 2 * λ**2 + λ**-4, "shear": λ**2 + 1 + λ**-2}[mode]
    W1, W2 = _slopes(law, parameters, I1)
    if mode == "uniaxial":
        return 2 * (λ - λ**-2) * (W1 + W2 / λ)
    if mode == "biaxial":
        return 2 * (λ - λ**-5) * (W1 + λ**2 * W2)
    return 2 * (λ - λ**-3) * (W1 + W2)


def _slopes(law: str, p: Mapping, I1: FloatArray) -> tuple[FloatArray | float, float]:
    e = I1 - 3
    if law == "neo-hookean":
        return p["shear_modulus"] / 2, 0.0
    if law == "mooney-rivlin":
        return p["c1"], p["c2"]
    if law == "yeoh":
        return p["c1"] + 2 * p["c2"] * e + 3 * p["c3"] * e**2, 0.0
    if law == "gent":
        return p["shear_modulus"] / 2 / (1 - e / p["stretch_limit"]), 0.0
    if law == "arruda-boyce":  # dW/dy = μ N β with y² = I1/(3N), so W1 = μ β / (6 y)
        y = np.sqrt(I1 / (3 * p["chain_links"]))
        return p["shear_modulus"] * inverse_langevin(y) / (6 * y), 0.0
    raise KeyError(law)


def _ogden(moduli: ArrayLike, exponents: ArrayLike, mode: str, λ: FloatArray) -> FloatArray:
    """S = Σ μ (λ^(α-1) - λ^(-q α - 1)), q = 1/2, 2, 1 for the three modes."""
    q = {"uniaxial": 0.5, "biaxial": 2.0, "shear": 1.0}[mode]
    pairs = zip(np.atleast_1d(moduli), np.atleast_1d(exponents), strict=True)
    return sum(m * (λ ** (a - 1) - λ ** (-q * a - 1)) for m, a in pairs)


def _fung(c: float, bf: float, bt: float, mode: str, λ: FloatArray) -> FloatArray:
    """Derivative along the path, the fibre in the direction of λ (uniaxial) or of the free one (biaxial).

    Shear: fibre along λ, constant width; W is then a function of λ alone as well. Own derivation.
    """

    def E(x: FloatArray) -> FloatArray:
        return (x**2 - 1) / 2

    if mode == "uniaxial":
        Q = bf * E(λ) ** 2 + 2 * bt * E(λ**-0.5) ** 2
        slope = 2 * bf * E(λ) * λ - 2 * bt * E(λ**-0.5) * λ**-2
        return c / 2 * np.exp(Q) * slope
    if mode == "biaxial":
        Q = 2 * bt * E(λ) ** 2 + bf * E(λ**-2) ** 2
        slope = 4 * bt * E(λ) * λ - 4 * bf * E(λ**-2) * λ**-5
        return c / 4 * np.exp(Q) * slope
    Q = bf * E(λ) ** 2 + bt * E(1 / λ) ** 2
    slope = 2 * bf * E(λ) * λ - 2 * bt * E(1 / λ) * λ**-3
    return c / 2 * np.exp(Q) * slope


def compressible_uniaxial(mu: float, kappa: float, λ: float) -> tuple[float, float]:
    """Lateral stretch and nominal stress of W = μ/2 (J^(-2/3) I1 - 3) + κ/2 (J - 1)² in uniaxial tension.

    The free sides give ∂W/∂t = 0 for the lateral stretch t, J = λ t²; own derivation.
    """

    def slopes(t: float) -> tuple[float, float]:
        J, I1 = λ * t**2, λ**2 + 2 * t**2
        dJ = mu / 2 * (-2 / 3) * J ** (-5 / 3) * I1 + kappa * (J - 1)
        return mu / 2 * J ** (-2 / 3) * 4 * t + dJ * 2 * λ * t, mu / 2 * J ** (-2 / 3) * 2 * λ + dJ * t**2

    t = float(brentq(lambda x: slopes(x)[0], 0.3, 2.0, xtol=1e-15))
    return t, float(slopes(t)[1])
