# SPDX-License-Identifier: MIT
"""Faults of scans of rubber: holes, ghosts, outliers and returns from below the surface."""

import numpy as np
from scipy.spatial import KDTree

from annelid.geometry.body import FloatArray, IntArray


def depth_of_return(thickness: FloatArray, attenuation: float) -> FloatArray:
    """Return the mean depth from which a translucent wall returns light, mm.

    Depths are distributed as exp(-z/λ) for z between 0 and the thickness t, so that the mean is
    λ - t / (exp(t/λ) - 1): t/2 for a thin wall, growing to λ for a thick one (own derivation).

    Args:
        thickness: Thickness t, shape (n,), mm.
        attenuation: Attenuation length λ, mm; 0 for an opaque wall.
    """
    if attenuation == 0.0:
        return np.zeros_like(thickness)
    ratio = np.maximum(thickness / attenuation, 1e-6)
    depth = attenuation * (1.0 - ratio * np.exp(-ratio) / -np.expm1(-ratio))
    return np.where(thickness > 0.0, depth, 0.0)


def patches(positions: FloatArray, share: float, count: int, random: np.random.Generator) -> list[IntArray]:
    """Return round patches of neighbouring points that together are a share of all points."""
    size = round(share * len(positions) / count)
    if size == 0:
        return []
    centres = positions[random.integers(len(positions), size=count)]
    _, members = KDTree(positions).query(centres, k=size)
    return list(np.reshape(members, (count, size)))


def ghost(
    positions: FloatArray, sight: FloatArray, size: float, *, mirrored: bool, random: np.random.Generator
) -> FloatArray:
    """Return where light that is reflected twice shows a patch of points.

    Args:
        positions: The patch, shape (n, 3), mm.
        sight: Unit directions of sight, shape (n, 3).
        size: Size of the part, mm.
        mirrored: Whether it is the image in a plane mirror beside the patch; otherwise it lies deeper along
            the line of sight.
        random: Generator of random numbers.
    """
    way = random.uniform(0.1, 0.4) * size
    if not mirrored:
        return positions + way * sight
    normal = random.normal(size=3)
    normal /= np.linalg.norm(normal)
    height = (positions - positions.mean(axis=0)) @ normal + way / 2.0
    return np.asarray(positions - 2.0 * height[:, None] * normal)


def outliers(positions: FloatArray, count: int, random: np.random.Generator) -> FloatArray:
    """Return random points in the box around all points, enlarged by a quarter, shape (count, 3), mm."""
    low, high = positions.min(axis=0), positions.max(axis=0)
    middle, half = (low + high) / 2.0, 1.25 * (high - low) / 2.0
    return np.asarray(middle + half * random.uniform(-1.0, 1.0, size=(count, 3)))
