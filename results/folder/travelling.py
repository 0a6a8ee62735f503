# SPDX-License-Identifier: MIT
"""Speed and volume of the wave that travels along a lumen in one cycle, from radii over height and time."""

from collections.abc import Sequence

import numpy as np

from annelid.geometry.body import FloatArray
from annelid.solver.records import Profile

_SAME = 1e-6  # of the height over which something moves
_MOVES = 0.05  # of the largest amplitude: stations that move less do not show where the wave is
_WHOLE = 0.75  # of the lumen: of a longer wave no whole one is between two necks at any time
_CELLS = 400  # of a wavelength


def wave_speed(time: FloatArray, lumens: Sequence[Profile]) -> float:
    """Phase velocity of the first harmonic of the lumen radius over one period, mm/s; positive along +Z.

    Args:
        time: Times of the states of a period, both ends included, shape (n,), s.
        lumens: Profiles of the same material stations.

    Returns:
        Weighted by the square of the amplitude; ``nan`` if nothing travels.
    """
    radius = np.array([lumen.radius for lumen in lumens])
    height = np.mean([lumen.current_height for lumen in lumens], axis=0)
    turn = np.exp(-2j * np.pi * (time - time[0]) / (time[-1] - time[0]))
    harmonic = np.trapezoid((radius - radius.mean(axis=0)) * turn[:, None], time, axis=0)
    amplitude = np.abs(harmonic)
    moving = amplitude > _MOVES * amplitude.max()
    if moving.sum() < 2:
        return np.nan
    weight = amplitude[moving]
    slope = np.polyfit(height[moving], np.unwrap(np.angle(harmonic[moving])), 1, w=weight)[0]
    if abs(slope) * np.ptp(height) < _SAME:
        return np.nan
    return float(-2 * np.pi / (time[-1] - time[0]) / slope)


def wave_volume(lumens: Sequence[Profile], wavelength: float) -> float:
    """Largest volume between two places a wavelength apart, above the wider of both, mm³.

    ``max ∫ ⟨A - max(A(z0), A(z0 + λ))⟩ dz`` over z0 and the states, with A = π r². Of a train of waves the
    largest one begins and ends at necks. As a maximum of what changes continuously with the radii it does not
    depend on which dips of the wall count as necks.

    Args:
        lumens: Profiles of the states of a period.
        wavelength: λ, mm.

    Returns:
        The volume; ``nan`` if the lumen is too short to have a whole wave between two necks.
    """
    found = [_largest(lumen, wavelength) for lumen in lumens if wavelength < _WHOLE * _length(lumen)]
    return max(found, default=np.nan)


def _length(lumen: Profile) -> float:
    return float(np.ptp(lumen.current_height))


def _largest(lumen: Profile, wavelength: float) -> float:
    order = np.argsort(lumen.current_height, kind="stable")
    z, area = lumen.current_height[order], np.pi * lumen.radius[order] ** 2
    step = wavelength / _CELLS
    even = np.interp(np.arange(z[0], z[-1] + step / 2, step), z, area)
    windows = np.lib.stride_tricks.sliding_window_view(even, _CELLS + 1)
    above = np.maximum(windows - np.maximum(windows[:, :1], windows[:, -1:]), 0.0)
    return float(above[:, 1:].sum(axis=1).max(initial=0.0)) * step
