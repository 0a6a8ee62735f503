# SPDX-License-Identifier: MIT
"""Interpolation by values and slopes."""

import numpy as np

from annelid.geometry.body import FloatArray


def hermite(x: FloatArray, y: FloatArray, slope: FloatArray, at: FloatArray) -> FloatArray:
    """Interpolate values and slopes by cubics (SciPy's would do; its import costs more than a mesh)."""
    place = np.clip(np.searchsorted(x, at, side="right") - 1, 0, len(x) - 2)
    width = x[place + 1] - x[place]
    t = np.clip((at - x[place]) / width, 0.0, 1.0)
    start = (1 + 2 * t) * (1 - t) ** 2 * y[place] + t * (1 - t) ** 2 * width * slope[place]
    stop = t**2 * (3 - 2 * t) * y[place + 1] + t**2 * (t - 1) * width * slope[place + 1]
    return np.asarray(start + stop)
