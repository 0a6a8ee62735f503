# SPDX-License-Identifier: MIT
"""The peristaltic wave in a lumen at one moment, from the area of its sections now and at rest."""

from typing import NamedTuple

import numpy as np

from annelid.geometry.body import FloatArray

_LEVELS = 128  # of the largest change of area, in an integral over these; 1e-4 off in 1 ms, 400 take 10 ms


class Sections(NamedTuple):
    """Areas of sections along a lumen, linear between them.

    Attributes:
        z: Present heights, shape (n,), mm.
        area: Shape (n,), mm².
        core: Radius of a cylinder in the lumen, of which the areas are part, mm; 0 without one.
    """

    z: FloatArray
    area: FloatArray
    core: float = 0.0


class WaveShape(NamedTuple):
    """A wave in a lumen.

    Attributes:
        volume: Volume of the wave, mm³.
        occlusion: (ρ_max - ρ_min)/(ρ_max + ρ_min) with ρ = h/h₀ and h = √(A/π) - c around a cylinder c.
    """

    volume: float
    occlusion: float


def wave_shape(now: Sections, rest: Sections) -> WaveShape:
    """Measure the wave of a lumen against the lumen at rest.

    The volume is ∫₀^∞ Λ(a) da, where Λ(a) is the longest piece of the lumen along which A - A₀ > a, or the
    same of A₀ - A if this is larger. It is the volume that a single bulge or squeeze displaces, and that of
    the larger one if there are several apart from each other; where waves run into each other, the levels
    below the neck between them count both. If no area changes by more than ε, it changes by no more
    than 2 ε times the length, so that it has no jumps. It is 0 for a lumen at rest.

    A wall r = a (1 + φ sin 2πz/λ) has the occlusion φ, compared with a plain tube.

    Args:
        now: The present lumen.
        rest: The lumen at rest; heights at which it is not known are left out.
    """
    low, high = max(now.z.min(), rest.z.min()), min(now.z.max(), rest.z.max())
    z = np.unique(np.clip(np.concatenate([now.z, rest.z]), low, high))
    area, before = (np.interp(z, *_ascending(sections)) for sections in (now, rest))
    volume = max(_longest_pieces(z, area - before), _longest_pieces(z, before - area))
    h, h0 = (
        np.maximum(np.sqrt(np.maximum(value, 0.0) / np.pi) - sections.core, 0.0)
        for value, sections in ((area, now), (before, rest))
    )
    if (h[h0 == 0] > 0).any():
        return WaveShape(volume, 1.0)
    ratio = np.divide(h, h0, out=np.ones_like(h), where=h0 > 0)
    least, most = float(ratio.min()), float(ratio.max())
    return WaveShape(volume, (most - least) / (most + least) if most else 0.0)


def _ascending(sections: Sections) -> tuple[FloatArray, FloatArray]:
    order = np.argsort(sections.z, kind="stable")
    return sections.z[order], sections.area[order]


def _longest_pieces(z: FloatArray, change: FloatArray) -> float:
    """∫₀^∞ Λ(a) da with the longest piece Λ(a) along which a change, linear between stations, is above a."""
    largest = float(change.max(initial=0.0))
    if largest <= 0.0 or len(z) < 2:
        return 0.0
    levels = largest * (np.arange(_LEVELS)[:, None] + 0.5) / _LEVELS
    low, high = np.minimum(change[1:], change[:-1]), np.maximum(change[1:], change[:-1])
    steep = np.where(high > low, high - low, 1.0)
    part = np.where(low > levels, 1.0, np.clip((high - levels) / steep, 0.0, 1.0)) * np.diff(z)
    # Pieces are separated by stations below the level; a segment belongs to its end that is above.
    number = np.cumsum(change <= levels, axis=1)
    piece = np.where(change[:-1] > levels, number[:, :-1], number[:, 1:])
    count = len(z) + 1
    places = piece + count * np.arange(_LEVELS)[:, None]
    lengths = np.bincount(places.ravel(), part.ravel(), minlength=count * _LEVELS)
    return float(lengths.reshape(_LEVELS, count).max(axis=1).mean()) * largest
