# SPDX-License-Identifier: MIT
"""The peristaltic wave in a lumen at one moment, from the area of its sections along the axis."""

from itertools import pairwise
from typing import NamedTuple

import numpy as np

from annelid.geometry.body import FloatArray, IntArray

_FLAT = 1e-6  # of the widest area: crests and necks stand out at least by this
_SEPARATE = 0.25  # of the prominence of the highest crest: lower ones are part of it


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

    Necks are the narrowest places between successive crests, and on the outer sides of these. Crests that
    stand out less than a quarter as much as the highest one are part of their neighbour, as the rings of a
    bulge that covers several. A bulge is what is between successive necks, or a neck and an end; its volume is
    that above the wider of both, which leaves out that a clamped end is narrower than the tube. A sinusoidal
    wall r = a (1 + φ sin 2πz/λ) has bulges of π a² λ (2φ - φ²/2) and the occlusion φ. A lumen with one neck or
    none may have a single squeeze instead, with the volume that it displaces.

    Args:
        z: Present heights of the sections, ascending, shape (n,), mm.
        area: Areas, linear between the sections, shape (n,), mm².
    """
    crests, necks = _extremes(area), _extremes(-area)
    large = crests.places[crests.prominences >= _SEPARATE * crests.prominences.max(initial=0.0)]
    limits = [_lowest(area, necks.places, 0, first=True, of=large)]
    limits += [i + int(np.argmin(area[i : j + 1])) for i, j in pairwise(large)]
    limits += [_lowest(area, necks.places, len(area) - 1, first=False, of=large)]
    waves = [_above(z[i : j + 1], area[i : j + 1]) for i, j in pairwise(limits)]
    if len(necks.places) < 2:
        waves.append(_below(z, area))
    return max(waves, key=lambda wave: wave.volume)


class _Extremes(NamedTuple):
    """Local maxima inside, and how far they stand out from what is beside them."""

    places: IntArray
    prominences: FloatArray


def _extremes(values: FloatArray) -> _Extremes:
    from scipy.signal import find_peaks  # start-up that cases without time need not pay

    places, found = find_peaks(values, prominence=_FLAT * np.abs(values).max())
    return _Extremes(places, found["prominences"])


def _lowest(area: FloatArray, necks: IntArray, end: int, *, first: bool, of: IntArray) -> int:
    """The narrowest neck on the outer side of the first or the last crest, or the end."""
    if not of.size:
        return end
    beside = necks[necks < of[0]] if first else necks[necks > of[-1]]
    return int(beside[np.argmin(area[beside])]) if beside.size else end


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
