# SPDX-License-Identifier: MIT
"""Rows in time, and values of one cycle of a part whose loads follow waves, such as its stroke volume."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from annelid.geometry.body import FloatArray
from annelid.results.folder.bolus import carried_volume
from annelid.results.folder.pump_cycle import pump_values
from annelid.results.folder.run_records import CycleWindow
from annelid.results.folder.tables import PathRecord
from annelid.results.folder.travelling import wave_speed, wave_volume
from annelid.solver.model import cycle_quantities as c
from annelid.solver.model import quantities as q
from annelid.solver.records import FlowAlong, Measure, Profile

_SAME = 1e-6  # of a period


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
    window = last_window(windows, table)
    if window is None or not cycle_rows(table, window).size:
        return None
    end = window.start + window.cycles * window.period
    return window._replace(start=end - window.period, end=end)


def cycle_measures(
    table: PathRecord,
    lumens: Sequence[Profile],
    windows: Sequence[CycleWindow],
    flows: Sequence[FlowAlong | None] = (),
) -> dict[str, Measure]:
    """Return the values of the last whole cycle by name, with their units.

    Args:
        table: The path.
        lumens: Profile of the lumen for each row, empty without a lumen.
        windows: Where loads repeat; the last one that has a whole cycle counts.
        flows: Flow along the lumen for each row.

    Returns:
        The values; ``nan`` for those that the path does not contain, empty without such a window.
    """
    window = last_window(windows, table)
    if window is None:
        return {}
    rows = cycle_rows(table, window)
    values = dict.fromkeys((quantity.name for quantity in _OF_WALL), np.nan)
    if rows.size:
        volume = table.columns.get(q.LUMEN_VOLUME.name)
        if volume is not None:
            values[c.STROKE_VOLUME.name] = float(np.ptp(volume[rows]))
            values[c.CYCLE_DIFFERENCE.name] = _difference(table, volume, window)
        for quantity, source, pick in _EXTREMES:
            if source.name in table.columns:
                values[quantity.name] = float(pick(table[source.name][rows]))
        if lumens:
            values |= _travelling(table["time"][rows], [lumens[row] for row in rows], window.period)
    values |= pump_values(table, rows, window.period)
    if any(flows):
        along, speed = [flows[row] for row in rows], values[c.WAVE_SPEED.name]
        values[c.BOLUS.name] = _carried(table["time"][rows], along, speed)
    return {name: Measure(value, q.quantity_of(name).unit) for name, value in values.items()}


_OF_WALL = (
    c.STROKE_VOLUME,
    c.RESIDUAL_LUMEN,
    c.CYCLE_WAVE_VOLUME,
    c.CYCLE_OCCLUSION,
    c.WAVE_SPEED,
    c.CYCLE_DIFFERENCE,
)
_EXTREMES = (
    (c.RESIDUAL_LUMEN, q.SMALLEST_OPEN_AREA, np.min),
    (c.CYCLE_WAVE_VOLUME, q.WAVE_VOLUME, np.max),
    (c.CYCLE_OCCLUSION, q.OCCLUSION, np.max),
)


def _travelling(time: FloatArray, lumens: Sequence[Profile], period: float) -> dict[str, float]:
    """Speed of the wave in a cycle, and its volume if whole waves are in the lumen."""
    speed = wave_speed(time, lumens)
    volume = wave_volume(lumens, abs(speed) * period)
    return {c.WAVE_SPEED.name: speed} | ({} if np.isnan(volume) else {c.CYCLE_WAVE_VOLUME.name: volume})


def _carried(time: FloatArray, flows: Sequence[FlowAlong | None], speed: float) -> float:
    """Mean over a cycle of the volume that goes along with the wave."""
    known = [flow is not None for flow in flows]
    volumes = [carried_volume(flow, speed) for flow in flows if flow is not None]
    span = np.ptp(time[known]) if len(volumes) > 1 else 0.0
    return float(np.trapezoid(volumes, time[known]) / span) if span else np.nan


def last_window(windows: Sequence[CycleWindow], table: PathRecord) -> CycleWindow | None:
    """Return the last window with a whole cycle as the path has it: stages may have ended early.

    If the path contains none, it is the last one that was to have a whole cycle, or ``None``.
    """
    planned = [window for window in windows if window.cycles >= 1]
    found = (_in_path(window, table) for window in reversed(planned))
    return next((window for window in found if window.cycles >= 1), planned[-1] if planned else None)


def _in_path(window: CycleWindow, table: PathRecord) -> CycleWindow:
    """Return a window from the time at which its stage started to the time at which it ended."""
    rows = np.flatnonzero([stage == window.stage for stage in table.stages])
    if not rows.size:
        return window._replace(end=window.start)
    begun = float(table["time"][max(rows[0] - 1, 0)])
    late = 0.0 if window.stage_start is None else begun - window.stage_start
    end = min(window.end + late, float(table["time"][rows[-1]]))
    return window._replace(start=window.start + late, end=max(window.start + late, end))


def cycle_rows(table: PathRecord, window: CycleWindow, before_end: int = 1) -> NDArray[np.int64]:
    """Return the rows of a whole cycle with both ends; empty if the path does not reach its end.

    Args:
        table: The path.
        window: When cycles repeat.
        before_end: Number of the cycle, counted from the last one backwards.
    """
    high = window.start + (window.cycles - before_end + 1) * window.period
    low, slack = high - window.period, _SAME * window.period
    time, here = table["time"], np.array([stage == window.stage for stage in table.stages])
    rows = np.flatnonzero(here & (time >= low - slack) & (time <= high + slack))
    if not rows.size or time[rows[-1]] < high - slack:
        return rows[:0]
    if rows[0] > 0 and time[rows[0]] > low + slack and abs(time[rows[0] - 1] - low) <= slack:
        return np.insert(rows, 0, rows[0] - 1)  # the end of the stage before
    return rows


def _difference(table: PathRecord, volume: FloatArray, window: CycleWindow) -> float:
    """Largest difference of the lumen volume at equal phases of two cycles, over the stroke volume."""
    if window.cycles < 2:
        return np.nan
    last, before = cycle_rows(table, window), cycle_rows(table, window, 2)
    if not before.size:
        return np.nan
    time = table["time"]
    earlier = np.interp(time[last] - window.period, time[before], volume[before])
    stroke = np.ptp(volume[last])
    return float(np.abs(volume[last] - earlier).max() / stroke) if stroke else 0.0
