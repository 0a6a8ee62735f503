# SPDX-License-Identifier: MIT
"""Waves on bonded concentric neo-Hookean cylinders under axial compression, lateral surface free.

All are stretched by λ along the axis and by 1/√λ across it, so that b = diag(1/λ, 1/λ, λ²) and p = μ/λ are
the same everywhere but for μ. An incremental motion u with the pressure q obeys

    μ b : ∇∇u = ∇q,  div u = 0,

with the nominal traction 2 μ/λ u_r,r - q, μ/λ (u_θ,r + (u_r,θ - u_θ)/r), μ/λ (u_z,r + u_r,z) on a cylinder.
So q is harmonic, and three potentials give all motions: ∇φ with the radial wave number k, curls of ψ and χ
along the axis with κ = k √(b_z/b_r) = k λ^1.5 (own derivation from the equations of Biot, Mechanics of
Incremental Deformations, 1965, from memory; Wilkes, Q. J. Mech. Appl. Math. 8, 88, 1955, has m = 0).
"""

import numpy as np
from scipy.optimize import brentq
from scipy.special import ive, kve


def critical_stretch(m, k, radii, moduli, *, lowest=0.3):
    """Largest axial stretch below 1 at which a wave turns, 0 if there is none.

    Args:
        m: Waves around the axis.
        k: Wave number along the axis, per drawn length.
        radii: Drawn radii of the faces, from inside outwards; a first one of 0 is the axis.
        moduli: Shear modulus of each layer.
        lowest: Where the search ends.
    """

    def sign(stretch):
        return np.linalg.slogdet(_matrix(stretch, m, k, radii, moduli))[0]

    grid = np.arange(0.9999, lowest, -1e-3)
    signs = np.array([sign(stretch) for stretch in grid])
    changes = np.flatnonzero(np.diff(signs))
    if not len(changes):
        return 0.0
    change = int(changes[0])
    return brentq(sign, grid[change + 1], grid[change], xtol=1e-10)


def _matrix(stretch, m, k, radii, moduli):
    """Conditions at the faces for the amplitudes of the potentials of all layers; singular at a wave."""
    k, radii = k / stretch, np.asarray(radii) / np.sqrt(stretch)
    solid = radii[0] == 0
    rows = [0, 2, 3, 5] if m == 0 else range(6)  # without b, which is torsion
    half = len(rows) // 2
    columns = []
    for i, mu in enumerate(moduli):
        inner, outer = radii[i], radii[i + 1]
        kinds = ["I"] if solid and i == 0 else ["I", "K"]
        faces = np.zeros((half * 2 * len(radii), len(kinds) * half))
        column = 0
        for kind in kinds:
            for potential in (0, 2) if m == 0 else range(3):
                for face, r in ((i, inner), (i + 1, outer)):
                    if r:
                        value = _field(potential, kind, r, inner if kind == "K" else outer, m, k, stretch, mu)
                        sign = 1 if face == i else -1
                        start = 2 * half * face
                        faces[start : start + 2 * half, column] = sign * value[list(rows)]
                column += 1
        columns.append(faces)
    every = np.concatenate(columns, axis=1)
    keep = []
    for face in range(1 if solid else 0, len(radii)):
        start = 2 * half * face
        inside = 0 < face < len(radii) - 1
        keep += range(start if inside else start + half, start + 2 * half)  # traction alone on free faces
    matrix = every[keep]
    return matrix / np.abs(matrix).max(axis=1, keepdims=True)


def _field(potential, kind, r, scale, m, k, stretch, mu):
    """Amplitudes of u and of the traction on a cylinder, (r, θ, z) each."""
    kappa = k if potential == 0 else k * stretch**1.5
    Z, dZ = _bessel(kind, m, kappa, r, scale)
    ddZ = (kappa**2 + (m / r) ** 2) * Z - dZ / r
    if potential == 0:
        u, du = (dZ, -m / r * Z, -k * Z), (ddZ, -m / r * dZ + m / r**2 * Z, -k * dZ)
        q = mu * (1 / stretch - stretch**2) * k**2 * Z
    elif potential == 1:
        u, du, q = (m / r * Z, -dZ, 0.0), (m / r * dZ - m / r**2 * Z, -ddZ, 0.0), 0.0
    else:
        u = (k * dZ, -k * m / r * Z, -(kappa**2) * Z)
        du = (k * ddZ, -k * m / r * dZ + k * m / r**2 * Z, -(kappa**2) * dZ)
        q = 0.0
    G = mu / stretch
    traction = (2 * G * du[0] - q, G * (du[1] - (m * u[0] + u[1]) / r), G * (du[2] - k * u[0]))
    return np.array([*u, *traction])


def _bessel(kind, m, kappa, r, scale):
    """A modified Bessel function of κ r and its derivative by r, of order one at r = scale."""
    if kind == "I":
        factor = np.exp(kappa * (r - scale))
        value, beside = ive(m, kappa * r), ive(m + 1, kappa * r)
        return factor * value, factor * kappa * (beside + m / (kappa * r) * value)
    factor = np.exp(-kappa * (r - scale))
    value, beside = kve(m, kappa * r), kve(m + 1, kappa * r)
    return factor * value, factor * kappa * (-beside + m / (kappa * r) * value)
