# SPDX-License-Identifier: MIT
"""The times that the frames of an animation show, and how fast it plays."""

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from annelid.geometry.body import FloatArray
from annelid.geometry.errors import InputError
from annelid.results.folder.cycles import last_cycle, timed_rows
from annelid.results.folder.run_record import RunRecord
from annelid.solver.display import digits
from annelid.solver.model.quantities import TIME

FEWEST, MOST = 2, 1000  # frames
_LEAST_USUAL, _MOST_OF_CYCLE, _MOST_USUAL = 20, 100, 300  # frames, if their number is not given
_SMOOTH = 20.0  # frames per second
_SLOWEST, _FASTEST = 5.0, 30.0  # frames per second
_SAME = 1e-6  # of the shown time


class FrameTiming(NamedTuple):
    """What an animation shows and when.

    Attributes:
        times: Times of the frames at equal steps, s. A loop ends one step before it begins again.
        end: Time at which what is shown ends, s.
        rate: Frames per second.
        rows: Rows of the path from which the frames are interpolated, in time from before the first frame to
            after the last one.
        is_loop: Whether a last whole cycle is shown.
    """

    times: FloatArray
    end: float
    rate: float
    rows: NDArray[np.int64]
    is_loop: bool

    @property
    def step(self) -> float:
        """Time between two frames, s."""
        return float(self.times[1] - self.times[0])

    @property
    def speed_text(self) -> str:
        """How fast it plays in words, such as ``"in real time"``."""
        speed = self.step * self.rate
        if abs(speed - 1.0) < 1e-3:
            return "in real time"
        if speed > 1.0:
            return f"sped up {digits(speed, 2)} times"
        return f"slowed down {digits(1.0 / speed, 2)} times"

    def delays(self) -> list[int]:
        """Return how long each frame stays, ms, in whole hundredths of a second, as a GIF has them."""
        marks = np.round(100.0 / self.rate * np.arange(len(self.times) + 1)).astype(int)
        return [10 * int(delay) for delay in np.diff(marks)]


def timing_of(run: RunRecord, *, cycle: str | None = None, frames: int | None = None) -> FrameTiming:
    """Choose the times of the frames.

    Frames that are 5 to 30 a second in real time play in real time, others as near to it as that allows. If
    their number is not given, it is that of the computed steps or a whole multiple of it.

    Args:
        run: A run in which time passes.
        cycle: ``"last"`` for the last whole cycle, ``"all"`` for the whole time, by default the cycle if
            there is one.
        frames: Number of frames.

    Raises:
        InputError: No time passes, there is no whole cycle, or the number of frames is out of range.
    """
    if frames is not None and not FEWEST <= frames <= MOST:
        text = f"--frames: {frames} is out of range; give {FEWEST} to {MOST}"
        raise InputError(text, key="--frames", value=frames)
    rows = timed_rows(run.table.columns.get(TIME.name, np.zeros(0)))
    if not rows.size:
        text = "no time passes in this run, so it has no animation; give a stage waves or a duration"
        raise InputError(f"{run.path}: {text}", key="RUNDIR")
    time = run.table[TIME.name][rows]
    window = None if cycle == "all" else last_cycle(run.table, run.description.cycles)
    if window is None and cycle == "last":
        text = "--cycle last: the path contains no whole cycle of waves that repeat; give --cycle all"
        raise InputError(text, key="--cycle", value=cycle)
    start, end = (time[0], time[-1]) if window is None else (window.start, window.end)
    slack = _SAME * (end - start)
    first = max(int(np.searchsorted(time, start + slack)) - 1, 0)
    last = min(int(np.searchsorted(time, end - slack)), len(time) - 1)
    rows, steps = rows[first : last + 1], last - first
    length = float(end - start)
    most = _MOST_USUAL if window is None else _MOST_OF_CYCLE
    intervals = _usual_steps(steps, length, most) if frames is None else frames - (window is None)
    times = start + length / intervals * np.arange(intervals + (window is None), dtype=np.float64)
    rate = float(np.clip(intervals / length, _SLOWEST, _FASTEST))
    return FrameTiming(times, float(end), rate, rows, window is not None)


def _usual_steps(computed: int, length: float, most: int) -> int:
    """Number of steps between frames: that of the computed steps, or a multiple of it for smooth motion."""
    wanted = max(_SMOOTH * length, _LEAST_USUAL)
    times_as_many = max(1, min(math.ceil(wanted / computed - _SAME), most // computed))
    return min(computed * times_as_many, most)
