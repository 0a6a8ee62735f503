# SPDX-License-Identifier: MIT
"""Walls of tubes that move as given: r = H(z, t) on a tube of length L in n sections."""

import numpy as np

from annelid.solver.fluid.flow_system import LumenState

POINTS, WEIGHTS = np.polynomial.legendre.leggauss(4)


def moving(H, L, n):
    """Lumen over time with exact volumes ∫ π H² dz, and the radii of sections that follow from them."""
    edges = np.linspace(0, L, n + 1)
    z = edges[:-1, None] + (1 + POINTS) / 2 * L / n

    def lumen(t):
        volumes = np.pi * (H(z, t) ** 2) @ WEIGHTS / 2 * L / n
        return LumenState(volumes, np.sqrt(volumes / (np.pi * L / n)), np.full(n, L / n))

    return lumen


def radius_of(L, n):
    """Radius of a section of given volume, and its derivative; for tubes whose wall follows a law."""

    def radius(V):
        r = np.sqrt(np.maximum(V, 1e-30) / (np.pi * L / n))
        return r, np.where(V > 1e-30, r / (2 * np.maximum(V, 1e-30)), 0.0)

    return radius
