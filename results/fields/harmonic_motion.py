# SPDX-License-Identifier: MIT
"""The motion along a mode with waves around the axis, at the points of a revolved meridian."""

import numpy as np

from annelid.geometry.body import FloatArray
from annelid.results.fields.placement import Placement

_OVER_SIZE, _OVER_RADIUS, _OVER_WAVE = 0.2, 0.3, 0.12  # largest motion in a picture
_HELD = 1e-6  # of the largest component


def harmonic_motion(placement: Placement, mode: FloatArray, m: int) -> FloatArray:
    """Return (a cos mθ, b sin mθ, c cos mθ) in X, Y, Z at the points of a whole part, shape (k, 3).

    Args:
        placement: The points as images of those of a meridian, each with its angle.
        mode: Amplitudes (a, b, c) at the points of the meridian, shape (n, 3).
        m: Number of waves around the axis.
    """
    assert placement.angle is not None
    θ = placement.angle
    outwards, around, along = (mode[placement.source] * _waves(θ, m)).T
    if placement.reflected is not None:
        sense = np.where(placement.reflected, -1.0 if _is_opposite(placement, mode) else 1.0, 1.0)
        outwards, around = sense * outwards, sense * around
        along = np.where(placement.reflected, -sense, 1.0) * along
    x = np.cos(θ) * outwards - np.sin(θ) * around
    y = np.sin(θ) * outwards + np.cos(θ) * around
    return np.column_stack([x, y, along])


def drawn_amplitude(position: FloatArray, m: int) -> float:
    """Return the largest motion along a mode in a picture of a part at some points, mm."""
    radius = float(np.hypot(position[:, 0], position[:, 1]).max())
    height = float(np.ptp(position[:, 2]))
    size = np.sqrt(2.0 * radius * max(height, 0.1 * radius))
    wave = 2.0 * np.pi * radius / m
    return float(min(_OVER_SIZE * size, _OVER_RADIUS * radius, _OVER_WAVE * wave))


def _waves(θ: FloatArray, m: int) -> FloatArray:
    cos, sin = np.cos(m * θ), np.sin(m * θ)
    return np.column_stack([cos, sin, cos])


def _is_opposite(placement: Placement, mode: FloatArray) -> bool:
    """Whether a mode is the opposite of its mirror image about the plane of symmetry."""
    on_plane = np.abs(mode[placement.plane]).max(axis=0)
    return bool(on_plane[2] > max(on_plane[:2].max(), _HELD * np.abs(mode).max()))
