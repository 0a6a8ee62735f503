# SPDX-License-Identifier: MIT
"""Error bars against true errors: problems with known solutions, on meshes and with steps of a verification.

They are solved here, without the solver; those of the solver are in ``tests/solver/test_error_bars.py``.
"""

import math

import numpy as np
import pytest
from bar_coverage import check


def lame(n, ratio, nu, pressure=1.0):
    """Linear elements in plane strain, E = 1: displacements at both faces, energy, hoop stress inside."""
    r = np.linspace(1.0, ratio, n + 1)
    k = 1 / ((1 + nu) * (1 - 2 * nu))
    K, f = np.zeros((n + 1, n + 1)), np.zeros(n + 1)
    f[0] = pressure
    gauss, weights = np.polynomial.legendre.leggauss(2)
    for i in range(n):
        h = r[i + 1] - r[i]
        for x, w in zip(gauss, weights, strict=True):
            N = np.array([(1 - x) / 2, (1 + x) / 2])
            R = N @ r[i : i + 2]
            B = np.array([[-1 / h, 1 / h], N / R])
            D = k * np.array([[1 - nu, nu], [nu, 1 - nu]])
            K[i : i + 2, i : i + 2] += B.T @ D @ B * R * w * h / 2
    u = np.linalg.solve(K, f)
    radial, hoop = (u[1] - u[0]) / (r[1] - r[0]), u[0]
    return u[0], u[-1], 0.5 * u @ f, k * (nu * radial + (1 - nu) * hoop)


def lame_exact(ratio, nu):
    a, b = 1.0, ratio
    c = a**2 / (b**2 - a**2)

    def u(r):
        return (1 + nu) * c * ((1 - 2 * nu) * r + b**2 / r)

    return u(a), u(b), 0.5 * u(a), (a**2 + b**2) / (b**2 - a**2)


def of_cylinders():
    for ratio in (1.2, 1.5, 2.0, 3.0):
        for nu in (0.0, 0.3, 0.45):
            meshes = [lame(n, ratio, nu) for n in (2, 4, 8, 16)]
            for number, exact in enumerate(lame_exact(ratio, nu)):
                yield f"Lame {ratio} {nu} {number}", (2.0, 1.0, 0.5, 0.25), [m[number] for m in meshes], exact


def of_windkessels():
    """Implicit Euler and the trapezoid rule for C dP/dt + P/R = Q: pressures at some times, from rest."""
    for R, C in ((1.0, 1.3), (2.0, 0.5)):
        for t in (0.2, 1.0):
            for theta in (0.5, 1.0):
                found = []
                for n in (8, 16, 32):
                    p, dt = 0.0, t / n
                    for _ in range(n):
                        p = (p + dt / C * (100 - (1 - theta) * p / R)) / (1 + theta * dt / (R * C))
                    found.append(p)
                yield (
                    f"windkessel {R} {t} {theta}",
                    (1.0, 0.5, 0.25),
                    found,
                    100 * R * (1 - math.exp(-t / R / C)),
                )


def of_kinks():
    """Trapezoid rule of ∫ |x - c|, whose index covers only about 60 % of the errors."""
    for c in (0.318309886, 0.707106781, 0.618033989, 0.4):
        found = [float(np.trapezoid(abs(np.linspace(0, 1, n + 1) - c), dx=1 / n)) for n in (10, 20, 40, 80)]
        yield f"kink {c}", (2.0, 1.0, 0.5, 0.25), found, c**2 - c + 0.5


def of_singularities():
    """Midpoint rule of ∫ x^(-1/2), of order 1/2, and of ∫ √x, of order 3/2."""
    for power in (-0.5, 0.5):
        found = [float(np.mean(((np.arange(n) + 0.5) / n) ** power)) for n in (8, 16, 32, 64)]
        yield f"power {power}", (2.0, 1.0, 0.5, 0.25), found, 1 / (1 + power)


def test_bars_of_manufactured_problems_cover_their_errors():
    check([*of_cylinders(), *of_windkessels(), *of_kinks(), *of_singularities()])


def test_the_check_can_fail():
    """Bars of a hundredth of the width would be found out."""
    pairs = [
        (name, sizes, [1 + (v - 1) * 1e-2 for v in values], 1.5) for name, sizes, values, _ in of_kinks()
    ]
    with pytest.raises(AssertionError):
        check(pairs, least=4)
