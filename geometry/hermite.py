# SPDX-License-Identifier: MIT
"""Cubic Hermite interpolation."""

import numpy as np

from annelid.geometry.body import FloatArray


def hermite(x: FloatArray, y: FloatArray, slope: FloatArray, at: FloatArray) -> FloatArray:
    """Interpolate values ``y`` and slopes at ``x`` by cubics (importing SciPy takes longer than a mesh)."""
    interval = np.clip(np.searchsorted(x, at, side="right") - 1, 0, len(x) - 2)
    width = x[interval + 1] - x[interval]
    t = np.clip((at - x[interval]) / width, 0.0, 1.0)
    start = (1 + 2 * t) * (1 - t) ** 2 * y[interval] + t * (1 - t) ** 2 * width * slope[interval]
    stop = t**2 * (3 - 2 * t) * y[interval + 1] + t**2 * (t - 1) * width * slope[interval + 1]
    return np.asarray(start + stop)
