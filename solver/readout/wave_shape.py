# SPDX-License-Identifier: MIT
"""The peristaltic wave in a lumen at one moment, from the area of its sections along the axis."""

from itertools import pairwise
from typing import NamedTuple

import numpy as np

from annelid.geometry.body import FloatArray, IntArray

_FLAT = 1e-6  # of the widest area: crests and necks stand out at least by this
# Of the prominence of the highest crest: crests that stand out less are part of it, and what is less far
# below it is a dip between its rings, not a neck.
_SEPARATE, _DEEP = 0.5, 0.5
_EVEN = 201  # evenly spaced places for a median


class WaveShape(NamedTuple):
    """A wave in a lumen.

    Attributes:
        volume: Volume of the wave, mm³.
        occlusion: (h_max - h_min)/(h_max + h_min) along it, with h = √(A/π) - c around a cylinder c.
    """

    volume: float
    occlusion: float


def wave_shape(z: FloatArray, area: FloatArray, core: float = 0.0) -> WaveShape:
    """Find the largest wave of a lumen.

    Necks are the narrowest places between successive crests, and on the outer sides of these. Crests that
    stand out less than half as much as the highest one are part of their neighbour, as the rings of a
    bulge that covers several. A bulge is what is between successive necks, with the volume above the wider of
    both. If there is no neck on its outer side, the median area from the crest to the end counts instead,
    which leaves out that a clamped end is narrower. A wall r = a (1 + φ sin 2πz/λ) has bulges of
    π a² λ (2φ - φ²/2) and the occlusion φ. A lumen with one neck or none may have a single squeeze instead,
    with the volume that it displaces.

    Args:
        z: Present heights of the sections, ascending, shape (n,), mm.
        area: Areas, linear between the sections, shape (n,), mm².
        core: Radius of a cylinder in the lumen, of which the areas are part, mm; 0 without one.
    """
    crests, necks = _extremes(area), _extremes(-area)
    least = crests.prominences.max(initial=0.0)
    large = crests.places[crests.prominences >= _SEPARATE * least]
    waves = [_below(z, area, core)] if len(necks.places) < 2 else []
    if large.size:
        deep = necks.places[area[necks.places] <= area[large].max() - _DEEP * least]
        low = _outer(z, area, deep[deep < large[0]], slice(None, large[0] + 1))
        high = _outer(z, area, deep[deep > large[-1]], slice(large[-1], None))
        between = [i + int(np.argmin(area[i : j + 1])) for i, j in pairwise(large)]
        limits = [low, *(_Limit(i, area[i]) for i in between), high]
        waves += [_above(z, area, i, j, core) for i, j in pairwise(limits)]
    return max(waves, key=lambda wave: wave.volume, default=WaveShape(0.0, 0.0))


class _Limit(NamedTuple):
    """Where a bulge ends, and the area down to which it counts there."""

    place: int
    base: float


class _Extremes(NamedTuple):
    """Local maxima inside, and how far they stand out from what is beside them."""

    places: IntArray
    prominences: FloatArray


def _extremes(values: FloatArray) -> _Extremes:
    ends = np.append(np.flatnonzero(np.diff(values)), len(values) - 1)  # of runs of equal values
    starts, v = np.append(0, ends[:-1] + 1), values[ends]
    peaks = np.flatnonzero((v[1:-1] > v[:-2]) & (v[1:-1] > v[2:])) + 1
    prominences = np.array([v[k] - max(_lowest(v[k::-1]), _lowest(v[k:])) for k in peaks])
    large = prominences >= _FLAT * np.abs(values).max()
    return _Extremes((starts + ends)[peaks[large]] // 2, prominences[large])


def _lowest(beside: FloatArray) -> float:
    """Lowest of values from a peak on up to one that is higher."""
    higher = np.flatnonzero(beside > beside[0])
    return float(beside[: higher[0] if higher.size else None].min())


def _outer(z: FloatArray, area: FloatArray, necks: IntArray, side: slice) -> _Limit:
    """The narrowest neck on the outer side of a crest; without one the end, and the median area up to it."""
    if necks.size:
        place = int(necks[np.argmin(area[necks])])
        return _Limit(place, area[place])
    even = np.interp(np.linspace(z[side][0], z[side][-1], _EVEN), z[side], area[side])
    return _Limit(0 if side.start is None else len(area) - 1, float(np.median(even)))


def _above(z: FloatArray, area: FloatArray, low: _Limit, high: _Limit, core: float) -> WaveShape:
    own, base = slice(low.place, high.place + 1), max(low.base, high.base)
    return _wave(z[own], np.maximum(area[own] - base, 0.0), base, max(base, area[own].max()), core)


def _below(z: FloatArray, area: FloatArray, core: float) -> WaveShape:
    base = min(area[0], area[-1])
    return _wave(z, np.maximum(base - area, 0.0), min(base, area.min()), base, core)


def _wave(z: FloatArray, part: FloatArray, least: float, most: float, core: float) -> WaveShape:
    """The wave that takes ``part`` of the area, between the areas ``least`` and ``most``."""
    volume = abs(float((part[1:] + part[:-1]) @ np.diff(z))) / 2
    widest, narrowest = (max(np.sqrt(value / np.pi) - core, 0.0) for value in (most, least))
    both = widest + narrowest
    return WaveShape(volume, float((widest - narrowest) / both) if both else 0.0)
