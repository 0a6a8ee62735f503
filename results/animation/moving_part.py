# SPDX-License-Identifier: MIT
"""Positions and values of a field at the points of the grid, interpolated in time between states."""

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from annelid.geometry.body import FloatArray
from annelid.geometry.errors import InputError
from annelid.results.animation.timing import FrameTiming
from annelid.results.folder.run_record import RunRecord
from annelid.results.show.shown_fields import DISPLACEMENT, SHOWN_KINDS, VOLTAGE
from annelid.results.show.shown_part import ShownPart
from annelid.results.views.state_pictures import DEFAULT_FIELD
from annelid.solver.model.quantities import TIME

_ROUNDING = 1e-6  # of a step


@dataclass(frozen=True)
class MovingPart:
    """The states of an animation, in single precision.

    Attributes:
        times: Times of the states, ascending, shape (n,), s.
        points: Positions of the points of the grid in each state, shape (n, p, 3), mm.
        values: The field there, in the unit that is shown, shape (n, p).
        field: Name of the field.
        label: Its name with its unit.
    """

    times: FloatArray
    points: NDArray[np.floating[Any]]
    values: NDArray[np.floating[Any]]
    field: str
    label: str

    def at(self, time: float) -> tuple[FloatArray, FloatArray]:
        """Return positions and values at a time."""
        return between(self.times, self.points, time), between(self.times, self.values, time)


def between(times: FloatArray, values: NDArray[np.floating[Any]], time: float) -> FloatArray:
    """Return values at a time, linear in time between two states, and at a state exactly those of it."""
    after = int(np.clip(np.searchsorted(times, time), 1, len(times) - 1))
    weight = float(np.clip((time - times[after - 1]) / (times[after] - times[after - 1]), 0.0, 1.0))
    if weight < _ROUNDING or weight > 1.0 - _ROUNDING:  # the other state may be nan
        return np.asarray(values[after - 1 + round(weight)], dtype=float)
    return np.asarray((1.0 - weight) * values[after - 1] + weight * values[after], dtype=float)


def moving_part(run: RunRecord, timing: FrameTiming, field: str | None) -> MovingPart:
    """Read the states that an animation needs.

    Args:
        run: The run.
        timing: What is shown.
        field: Name of a field of the files in ``show/``, with or without its unit; by default the voltage of
            the electrodes, or the largest principal stress of a part without.

    Raises:
        InputError: The fields of these states were not stored, or there is no such field.
    """
    states = run.table["state"][timing.rows].astype(int).tolist()
    missing = [state for state in states if state not in run.field_files]
    if missing:
        text = f'the fields of state {missing[0]} were not stored; run the case with output.fields = "all"'
        raise InputError(f"{run.path}: {text}", key="output.fields")
    part = ShownPart(run)
    read = [part.positions_and_fields(state) for state in states]
    name = _chosen_field([fields for _, fields in read], field)
    none = np.full(len(read[0][0]), np.nan)
    values = np.array([fields.get(name, none) for _, fields in read])
    size = float(np.max(np.abs(values[np.isfinite(values)]), initial=0.0))
    unit = run.units.unit(SHOWN_KINDS.get(name, "ratio"), size)
    return MovingPart(
        times=run.table[TIME.name][timing.rows],
        points=np.array([points for points, _ in read], dtype=np.float32),
        values=(values * unit.factor).astype(np.float32),
        field=name,
        label=unit.label(name),
    )


def _chosen_field(states: list[dict[str, FloatArray]], field: str | None) -> str:
    known = dict.fromkeys(name for fields in states for name in fields)
    if field is None:
        energised = any(np.nan_to_num(fields.get(VOLTAGE, np.zeros(1))).any() for fields in states)
        preferred = (*[VOLTAGE] * energised, DEFAULT_FIELD, DISPLACEMENT)
        return next(name for name in preferred if name in known)
    name = field.rpartition(" [")[0] or field
    if name not in known:
        text = f"--field: {field!r} is not among the fields of this run; available: {', '.join(known)}"
        raise InputError(text, key="--field", value=field)
    return name
