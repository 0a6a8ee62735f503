# SPDX-License-Identifier: MIT
"""The time of a move: its fastest motion within the limits of all axes.

Between its points a move is linear in all axes. Along each segment the speed increases and decreases with
constant acceleration between the speeds at its ends (a trapezoidal or triangular profile). The speed at a
point is limited so that no axis changes its speed by more than the allowed sudden change, or by more than its
acceleration allows over the adjacent segments. A move begins and ends at rest. Jerk is not limited.
"""

from typing import NamedTuple

import numpy as np

from annelid.geometry.body import FloatArray
from annelid.geometry.printing.machines import LINEAR_AXES
from annelid.geometry.printing.settings import PrinterSettings

_TINY = 1e-12


class AxisLimits(NamedTuple):
    """Limits of the axes, in mm or degrees and s, each of shape (axes,).

    Attributes:
        speed: Largest speeds.
        acceleration: Largest accelerations.
        corner: Largest sudden changes of speed.
    """

    speed: FloatArray
    acceleration: FloatArray
    corner: FloatArray


def axis_limits(settings: PrinterSettings, axes: tuple[str, ...]) -> AxisLimits:
    """Return the limits of the axes with given names."""
    linear = np.array([name in LINEAR_AXES for name in axes])
    fastest = max(settings.feed, settings.travel)
    return AxisLimits(
        np.where(linear, fastest, settings.turn_speed),
        np.where(linear, settings.acceleration, settings.turn_acceleration),
        np.where(linear, settings.corner, settings.turn_corner),
    )


def top_speeds(axes: FloatArray, step: FloatArray, speed: float, limits: AxisLimits) -> FloatArray:
    """Return the largest speed along each segment of a move, shape (k - 1,), mm/s.

    Args:
        axes: Axis positions at the points of the move, shape (k, axes).
        step: Distances of the tip between these points, shape (k - 1,), mm.
        speed: Target speed, mm/s.
        limits: Limits of the axes.
    """
    slopes = np.abs(np.diff(axes, axis=0)) / np.maximum(step, _TINY)[:, None]
    return np.minimum(speed, (limits.speed / np.maximum(slopes, _TINY)).min(axis=1))


def move_time(axes: FloatArray, step: FloatArray, speed: float, limits: AxisLimits) -> float:
    """Return the time of a move from rest to rest, s; the arguments are those of :func:`top_speeds`."""
    moving = step > _TINY
    axes, step = np.concatenate([axes[:1], axes[1:][moving]]), step[moving]
    if not len(step):
        return 0.0
    slopes = np.diff(axes, axis=0) / step[:, None]
    top = top_speeds(axes, step, speed, limits)
    acceleration = (limits.acceleration / np.maximum(np.abs(slopes), _TINY)).min(axis=1)
    allowed = np.concatenate([[0.0], np.minimum(top[1:], top[:-1]), [0.0]])
    allowed[1:-1] = np.minimum(allowed[1:-1], _corners(slopes, step, limits))
    square = _reachable(allowed**2, 2 * acceleration * step)
    start, stop = np.sqrt(square[:-1]), np.sqrt(square[1:])
    peak = np.sqrt(np.minimum(top**2, (square[:-1] + square[1:]) / 2 + acceleration * step))
    ramps = (2 * peak**2 - square[:-1] - square[1:]) / (2 * acceleration)
    cruise = np.maximum(step - ramps, 0.0) / peak
    return float(((2 * peak - start - stop) / acceleration + cruise).sum())


def _corners(slopes: FloatArray, step: FloatArray, limits: AxisLimits) -> FloatArray:
    """Largest speeds at the points between the segments."""
    change = np.maximum(np.abs(np.diff(slopes, axis=0)), _TINY)
    beside = (step[1:] + step[:-1])[:, None] / 2
    sudden, smooth = limits.corner / change, np.sqrt(limits.acceleration * beside / change)
    return np.asarray(np.maximum(sudden, smooth).min(axis=1))


def _reachable(allowed: FloatArray, gain: FloatArray) -> FloatArray:
    """Squares of the speeds that can be reached from the points before and reduced to those after."""
    risen = np.concatenate([[0.0], np.cumsum(gain)])
    ahead = np.minimum.accumulate(allowed - risen) + risen
    return np.asarray(np.minimum.accumulate((ahead + risen)[::-1])[::-1] - risen)
