# SPDX-License-Identifier: MIT
"""Inextensible elastic ring under hydrostatic pressure, buckled into n lobes.

κ'' + κ³/2 - m κ - σ = 0 with σ = p R³/(E I), R = 1; half a lobe runs from its farthest point (s = 0) to its
nearest (s = π/n), where κ' = 0 by symmetry, and turns by π/n; it buckles at σ = n² - 1. Flaherty, Keller &
Rubinow, SIAM J. Appl. Math. 23, 446 (1972) (from memory). If a rigid plane supports the nearest
point, κ' there is half of the force per length over E I.
"""

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy.optimize import fsolve

STEPS = 120


@dataclass(frozen=True)
class HalfLobe:
    """Half a lobe of a buckled ring.

    Attributes:
        σ: p R³/(E I).
        κ0: Curvature at the farthest point.
        m: The constant that determines the total rotation.
        nearest: Distance of the nearest point from the centre, over R.
        shear: κ' at the nearest point.
        points: Places along it, the farthest point on the X axis, shape (k, 2).
    """

    σ: float
    κ0: float
    m: float
    nearest: float
    shear: float
    points: np.ndarray


def _half(n: int, σ: float, κ0: float, m: float) -> np.ndarray:
    """Curvature, its slope, turn, and ∫ sin, ∫ cos of the turn along half a lobe, shape (5, STEPS + 1)."""
    y = np.array([κ0, 0.0, 0.0, 0.0, 0.0])
    h = np.pi / n / STEPS
    found = [y]

    def rates(y: np.ndarray) -> np.ndarray:
        κ, slope, θ = y[0], y[1], y[2]
        return np.array([slope, m * κ + σ - κ**3 / 2, κ, math.sin(θ), math.cos(θ)])

    for _ in range(STEPS):  # Runge's and Kutta's rule
        a = rates(y)
        b = rates(y + h / 2 * a)
        c = rates(y + h / 2 * b)
        y = y + h / 6 * (a + 2 * b + 2 * c + rates(y + h * c))
        found.append(y)
    return np.array(found).T


def _solved(equations: Callable[[np.ndarray], list[float]], start: np.ndarray) -> np.ndarray:
    found, _, fine, text = fsolve(equations, start, full_output=True, xtol=1e-12)
    assert fine == 1, text
    return found


def _half_lobe(n: int, σ: float, κ0: float, m: float) -> HalfLobe:
    y = _half(n, σ, κ0, m)
    angle = np.pi / n
    nearest = y[4, -1] / np.sin(angle)
    x = y[3, -1] - y[3] + nearest * np.cos(angle)
    return HalfLobe(σ, κ0, m, float(nearest), float(y[1, -1]), np.stack([x, y[4]], axis=1))


def free_lobe(nearest: float, n: int = 2) -> HalfLobe:
    """The buckled ring without contact, its nearest point at this distance from the centre, below 0.97 R."""
    angle = np.pi / n
    unknown = np.array([n**2 - 1.0, 1.1, 1.5 - n**2])  # σ, κ0, m of a ring that has hardly buckled
    for r in np.append(np.arange(0.97, nearest, -0.06), nearest):

        def equations(x: np.ndarray, r: float = r) -> list[float]:
            _, slope, θ, _, across = _half(n, *x)[:, -1]
            return [slope, θ - angle, across - r * np.sin(angle)]

        unknown = _solved(equations, unknown)
    return _half_lobe(n, *unknown)


def pressed_lobe(σ: float, nearest: float) -> HalfLobe:
    """The ring of two lobes at a higher pressure, its nearest points fixed at this distance by planes."""
    start = free_lobe(nearest)
    unknown = np.array([start.κ0, start.m])
    for load in np.linspace(start.σ, σ, 12)[1:]:

        def equations(x: np.ndarray, load: float = load) -> list[float]:
            _, _, θ, _, across = _half(2, load, *x)[:, -1]
            return [θ - np.pi / 2, across - nearest]

        unknown = _solved(equations, unknown)
    return _half_lobe(2, σ, *unknown)


def touching_lobes(clearance: float) -> HalfLobe:
    """Three lobes at the pressure where each comes this near to the plane between it and the next.

    They touch beside their nearest points: the distance from the X axis has its minimum inside the half lobe.
    """
    start = free_lobe(0.2, 3)

    def equations(x: np.ndarray) -> list[float]:
        y = _half(3, *x)
        inner = int(np.flatnonzero((y[4, 1:-1] < y[4, :-2]) & (y[4, 1:-1] <= y[4, 2:]))[0]) + 1
        a, b, c = np.polyfit([-1, 0, 1], y[4, inner - 1 : inner + 2], 2)
        return [y[1, -1], y[2, -1] - np.pi / 3, c - b**2 / (4 * a) - clearance]

    return _half_lobe(3, *_solved(equations, np.array([start.σ, start.κ0, start.m])))
