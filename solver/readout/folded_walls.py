# SPDX-License-Identifier: MIT
"""The material of walls that fold: its deformation and its excess length at points of known D."""

import numpy as np

from annelid.geometry.body import FloatArray


def unfolded(F: FloatArray, D: FloatArray) -> FloatArray:
    """Deformation Fw of the material, with FwᵀFw = FᵀF + D and the rotation of F.

    Args:
        F: Deformation gradient of the place, shape (..., 3, 3).
        D: What the folds add to FᵀF, shape (..., 3, 3).
    """
    C = np.swapaxes(F, -1, -2) @ F
    return F @ _power(C, -0.5) @ _power(C + D, 0.5)


def excess_lengths(F: FloatArray, D: FloatArray, directions: FloatArray) -> FloatArray:
    """Length of the material over that of its place, less 1, along some directions.

    Args:
        F: As above.
        D: As above.
        directions: Unit vectors in the reference shape, shape (..., k, 3).

    Returns:
        Shape (..., k).
    """
    C = np.swapaxes(F, -1, -2) @ F
    place, more = (np.einsum("...ki,...ij,...kj->...k", directions, T, directions) for T in (C, D))
    return np.sqrt(np.maximum(1 + more / place, 1.0)) - 1


def residual_stress(F: FloatArray, D: FloatArray) -> FloatArray:
    """Compression that a unit residual stiffness η μ leaves along the direction that folds most, shape (...).

    The energy |D|²/8 has the stress -D/2 in the reference shape, which is λ² D/2 in space for D = d⊗d.
    """
    values, axes = np.linalg.eigh(D)
    image = np.einsum("...ij,...j->...i", F, axes[..., -1])
    return np.maximum(values[..., -1], 0.0) / 2 * np.einsum("...i,...i->...", image, image)


def _power(T: FloatArray, exponent: float) -> FloatArray:
    """Power of a symmetric positive tensor."""
    values, axes = np.linalg.eigh(T)
    powers = np.maximum(values, np.finfo(float).tiny) ** exponent
    return np.einsum("...ia,...a,...ja->...ij", axes, powers, axes)
