# SPDX-License-Identifier: MIT
"""How long a move takes: the fastest motion along it that no axis is too slow for.

Between its points a move is straight in all axes. Along each piece the speed rises and falls at a constant
rate between the speeds at its ends (a trapezoid, or a triangle); at a point it may be so high that no axis
changes its speed by more than a sudden change allowed, or by more than its acceleration brings about over the
pieces beside it. A move begins and ends at rest. Jerk is left out.
"""

from typing import NamedTuple

import numpy as np

from annelid.geometry.body import FloatArray
from annelid.geometry.printing.machines import LINEAR
from annelid.geometry.printing.settings import Printing

_TINY = 1e-12


class Limits(NamedTuple):
    """What each axis can do, in mm or degrees and s, each shape (axes,).

    Attributes:
        speed: Largest speeds.
        acceleration: Largest accelerations.
        corner: Largest sudden changes of speed.
    """

    speed: FloatArray
    acceleration: FloatArray
    corner: FloatArray


def limits_of(printing: Printing, axes: tuple[str, ...]) -> Limits:
    """Return the limits of the axes of a machine by their names."""
    linear = np.array([name in LINEAR for name in axes])
    fastest = max(printing.feed, printing.travel)
    return Limits(
        np.where(linear, fastest, printing.turn_speed),
        np.where(linear, printing.acceleration, printing.turn_acceleration),
        np.where(linear, printing.corner, printing.turn_corner),
    )


def top_speeds(axes: FloatArray, step: FloatArray, speed: float, limits: Limits) -> FloatArray:
    """Return the largest speed along each piece of a move, mm/s, shape (k - 1,).

    Args:
        axes: Axis positions at the points of the move, shape (k, axes).
        step: Length of the tip's way between them, mm, shape (k - 1,).
        speed: Wanted speed, mm/s.
        limits: Of the axes.
    """
    slope = np.abs(np.diff(axes, axis=0)) / np.maximum(step, _TINY)[:, None]
    return np.minimum(speed, (limits.speed / np.maximum(slope, _TINY)).min(axis=1))


def seconds(axes: FloatArray, step: FloatArray, speed: float, limits: Limits) -> float:
    """Return the time of a move from rest to rest, s; arguments as of :func:`top_speeds`."""
    moving = step > _TINY
    axes, step = np.concatenate([axes[:1], axes[1:][moving]]), step[moving]
    if not len(step):
        return 0.0
    slope = np.diff(axes, axis=0) / step[:, None]
    top = top_speeds(axes, step, speed, limits)
    rate = (limits.acceleration / np.maximum(np.abs(slope), _TINY)).min(axis=1)
    allowed = np.concatenate([[0.0], np.minimum(top[1:], top[:-1]), [0.0]])
    allowed[1:-1] = np.minimum(allowed[1:-1], _corners(slope, step, limits))
    square = _reachable(allowed**2, 2 * rate * step)
    start, stop = np.sqrt(square[:-1]), np.sqrt(square[1:])
    peak = np.sqrt(np.minimum(top**2, (square[:-1] + square[1:]) / 2 + rate * step))
    ramps = (2 * peak**2 - square[:-1] - square[1:]) / (2 * rate)
    level = np.maximum(step - ramps, 0.0) / peak
    return float(((2 * peak - start - stop) / rate + level).sum())


def _corners(slope: FloatArray, step: FloatArray, limits: Limits) -> FloatArray:
    """Largest speeds at the points between the pieces."""
    change = np.maximum(np.abs(np.diff(slope, axis=0)), _TINY)
    beside = (step[1:] + step[:-1])[:, None] / 2
    sudden, smooth = limits.corner / change, np.sqrt(limits.acceleration * beside / change)
    return np.asarray(np.maximum(sudden, smooth).min(axis=1))


def _reachable(allowed: FloatArray, gain: FloatArray) -> FloatArray:
    """The squares of speeds that can be reached from those before and left for those behind."""
    risen = np.concatenate([[0.0], np.cumsum(gain)])
    ahead = np.minimum.accumulate(allowed - risen) + risen
    return np.asarray(np.minimum.accumulate((ahead + risen)[::-1])[::-1] - risen)
