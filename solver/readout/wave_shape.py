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
        volume: Volume of the wave, mm³.
        occlusion: (r_max - r_min)/(r_max + r_min) along it, with r = √(A/π).
    """

    volume: float
    occlusion: float


def wave_shape(z: FloatArray, area: FloatArray) -> WaveShape:
    """Find the largest wave of a lumen.

    Necks are local minima of the area. A bulge is what is between successive necks, or a neck and an end; its
    volume is that above the wider of both, which leaves out that a clamped end is narrower than the tube. A
    sinusoidal wall r = a (1 + φ sin 2πz/λ) has bulges of π a² λ (2φ - φ²/2) and the occlusion φ. A lumen with
    one neck or none may have a single squeeze instead, with the volume that it displaces.

    Args:
        z: Present heights of the sections, ascending, shape (n,), mm.
        area: Areas, linear between the sections, shape (n,), mm².
    """
    necks = _minima(area)
    waves = [_above(z[i : j + 1], area[i : j + 1]) for i, j in pairwise([0, *necks, len(area) - 1])]
    if len(necks) < 2:
        waves.append(_below(z, area))
    return max(waves, key=lambda wave: wave.volume)


def _minima(area: FloatArray) -> list[int]:
    """Sections inside that are narrower than those on both sides."""
    from scipy.signal import find_peaks  # start-up that cases without time need not pay

    places, _ = find_peaks(-area, prominence=_FLAT * np.abs(area).max())
    return list(map(int, places))


def _above(z: FloatArray, area: FloatArray) -> WaveShape:
    base = max(area[0], area[-1])
    return _wave(z, np.maximum(area - base, 0.0), base, max(base, area.max()))


def _below(z: FloatArray, area: FloatArray) -> WaveShape:
    base = min(area[0], area[-1])
    return _wave(z, np.maximum(base - area, 0.0), min(base, area.min()), base)


def _wave(z: FloatArray, part: FloatArray, least: float, most: float) -> WaveShape:
    """The wave that takes ``part`` of the area, between the areas ``least`` and ``most``."""
    volume = abs(float((part[1:] + part[:-1]) @ np.diff(z))) / 2
    widest, narrowest = np.sqrt(most), np.sqrt(least)
    return WaveShape(volume, float((widest - narrowest) / (widest + narrowest)))
