# SPDX-License-Identifier: MIT
"""Rows in time, and values of one cycle of a part whose loads follow waves, such as its stroke volume."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from annelid.geometry.body import FloatArray
from annelid.results.folder.run_records import CycleWindow
from annelid.results.folder.tables import PathRecord
from annelid.solver.model import quantities as q
from annelid.solver.records import Measure, Profile

_SAME = 1e-6  # of a period
_MOVES = 0.05  # of the largest amplitude: stations that move less do not tell where the wave is


def timed_rows(time: FloatArray) -> NDArray[np.int64]:
    """Return the rows of a path in which time passes, and the one in which it begins.

    Their times increase strictly. States of stages without time are left out, but for the first state.

    Args:
        time: Time of each row, s, shape (n,).

    Returns:
        In ascending order; empty if no time passes.
    """
    later = np.flatnonzero(np.diff(np.maximum.accumulate(time)) > 0) + 1
    return np.concatenate([later[:1] - 1, later])


def last_cycle(table: PathRecord, windows: Sequence[CycleWindow]) -> CycleWindow | None:
    """Return the last whole cycle; ``None`` if loads do not repeat or the path ends before.

    Of several windows the last one that has a whole cycle counts.
    """
    window = next((w for w in reversed(windows) if w.cycles >= 1), None)
    if window is None or not _rows(table, window, 1).size:
        return None
    end = window.start + window.cycles * window.period
    return window._replace(start=end - window.period, end=end)


def cycle_measures(
    table: PathRecord, lumens: Sequence[Profile], windows: Sequence[CycleWindow]
) -> dict[str, Measure]:
    """Return the values of the last whole cycle by name, with their units.

    Args:
        table: The path.
        lumens: Profile of the lumen for each row, empty without a lumen.
        windows: Where loads repeat; the last one that has a whole cycle counts.

    Returns:
        The values; ``nan`` for those that the path does not contain, empty without such a window.
    """
    window = next((w for w in reversed(windows) if w.cycles >= 1), None)
    if window is None:
        return {}
    values = dict.fromkeys((quantity.name for quantity in q.CYCLE_QUANTITIES), np.nan)
    rows = _rows(table, window, 1)
    if rows.size:
        volume = table.columns.get(q.LUMEN_VOLUME.name)
        if volume is not None:
            values[q.STROKE_VOLUME.name] = float(np.ptp(volume[rows]))
            values[q.CYCLE_DIFFERENCE.name] = _difference(table, volume, window)
        for quantity, source, pick in _EXTREMES:
            if source.name in table.columns:
                values[quantity.name] = float(pick(table[source.name][rows]))
        if lumens:
            values[q.WAVE_SPEED.name] = wave_speed(table["time"][rows], [lumens[row] for row in rows])
    return {name: Measure(value, q.quantity_of(name).unit) for name, value in values.items()}


_EXTREMES = (
    (q.RESIDUAL_LUMEN, q.SMALLEST_OPEN_AREA, np.min),
    (q.CYCLE_WAVE_VOLUME, q.WAVE_VOLUME, np.max),
    (q.CYCLE_OCCLUSION, q.OCCLUSION, np.max),
)


def _rows(table: PathRecord, window: CycleWindow, before_end: int) -> NDArray[np.int64]:
    """Rows of a whole cycle with both ends, counted from the last one backwards; empty if not reached."""
    high = window.start + (window.cycles - before_end + 1) * window.period
    low, slack = high - window.period, _SAME * window.period
    time, here = table["time"], np.array([stage == window.stage for stage in table.stages])
    rows = np.flatnonzero(here & (time >= low - slack) & (time <= high + slack))
    return rows if rows.size and time[rows[-1]] >= high - slack else rows[:0]


def _difference(table: PathRecord, volume: FloatArray, window: CycleWindow) -> float:
    """Largest difference of the lumen volume at equal phases of two cycles, over the stroke volume."""
    if window.cycles < 2:
        return np.nan
    last, before = _rows(table, window, 1), _rows(table, window, 2)
    if not before.size:
        return np.nan
    time = table["time"]
    earlier = np.interp(time[last] - window.period, time[before], volume[before])
    stroke = np.ptp(volume[last])
    return float(np.abs(volume[last] - earlier).max() / stroke) if stroke else 0.0


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
