# SPDX-License-Identifier: MIT
"""The peristaltic wave in a lumen at one moment, from the area of its sections along the axis."""

from itertools import pairwise
from typing import NamedTuple

import numpy as np

from annelid.geometry.body import FloatArray

_FLAT = 1e-6  # of the widest area: necks are at least this much narrower than what is beside them


class WaveShape(NamedTuple):
    """A wave in a lumen.

    Attributes:
        volume: Largest volume between successive necks above the narrowest area, mm³.
        occlusion: (r_max - r_min)/(r_max + r_min) between these necks, with r = √(A/π).
        crest: Height of the widest place between them, mm.
    """

    volume: float
    occlusion: float
    crest: float


def wave_shape(z: FloatArray, area: FloatArray) -> WaveShape:
    """Find the largest wave of a lumen.

    The necks are the local minima of the area, and both ends. A sinusoidal wall r = a (1 + φ sin 2πz/λ) over
    whole waves has the volume π a² λ (2φ - φ²/2) and the occlusion φ.

    Args:
        z: Present heights of the sections, ascending, shape (n,), mm.
        area: Areas, linear between the sections, shape (n,), mm².
    """
    least = float(area.min())
    waves = [_between(z[i : j + 1], area[i : j + 1], least) for i, j in _cells(area)]
    return max(waves, key=lambda wave: wave.volume)


def _cells(area: FloatArray) -> list[tuple[int, int]]:
    """First and last section between successive necks."""
    from scipy.signal import find_peaks  # start-up that cases without time need not pay

    inside, _ = find_peaks(-area, prominence=_FLAT * area.max())
    necks = [0, *inside.tolist(), len(area) - 1]
    return list(pairwise(necks))


def _between(z: FloatArray, area: FloatArray, least: float) -> WaveShape:
    above = area - least
    volume = float((above[1:] + above[:-1]) @ np.diff(z)) / 2
    widest, narrowest = np.sqrt(area.max()), np.sqrt(area.min())
    return WaveShape(volume, float((widest - narrowest) / (widest + narrowest)), float(z[np.argmax(area)]))
