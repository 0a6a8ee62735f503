# SPDX-License-Identifier: MIT
"""Speed of a Newtonian fluid between a round wall of radius r and a cylinder of radius c = κ r on its axis.

    u ~ 1 - x² - (1 - κ²) ln x / ln κ,    x = ρ/r

R. B. Bird, W. E. Stewart and E. N. Lightfoot, Transport Phenomena, from memory.
"""

import numpy as np

from annelid.geometry.body import FloatArray


def fastest(ratio: FloatArray) -> FloatArray:
    """x of the largest speed, x² = (1 - κ²)/(2 ln 1/κ), shape of κ."""
    return np.asarray(np.sqrt((1 - ratio**2) / (-2 * np.log(ratio))))


def largest_over_mean(ratio: FloatArray) -> FloatArray:
    """Largest speed over the mean speed, shape of κ."""
    x, slope = fastest(ratio), (1 - ratio**2) / np.log(ratio)
    mean = (1 + ratio**2 + slope) / 2
    return np.asarray((1 - x**2 - slope * np.log(x)) / mean)
