# SPDX-License-Identifier: MIT
"""Conversion of the waves of a stage into records of the solver, and the time that a stage takes."""

import math
from collections.abc import Iterator, Sequence

from annelid.cases.schema.case import Case
from annelid.cases.schema.stage import StageTable
from annelid.cases.schema.units import UnitError, note_unit, parse
from annelid.cases.schema.wave import WaveTable
from annelid.geometry.errors import InvalidValue
from annelid.results.folder.run_records import CycleWindow
from annelid.solver.model.loads import LOAD_KINDS, LoadKind
from annelid.solver.model.waveforms import (
    Form,
    LoadWave,
    Polyline,
    RaisedCosine,
    Sine,
    Waveform,
    trapezoid,
    travelling,
)

__all__ = [
    "STEPS",
    "STEPS_PER_PERIOD",
    "beats_of",
    "cycles_of",
    "duration_of",
    "period_of",
    "steps_of",
    "time_step_of",
    "waves_of",
]

STEPS, STEPS_PER_PERIOD = 10, 32
_RISE = 0.05  # of the period
_SPARE = 1e-9
_PULSES = {"trapezoid": ("duty", "rise", "fall"), "square": ("duty", "rise"), "raised cosine": ("duty",)}
_OF_TABLE = ("times", "values")


def waves_of(table: StageTable) -> tuple[LoadWave, ...]:
    """Return the loads of a stage that follow waves, one for each entry.

    Raises:
        InvalidValue: A value is not allowed.
    """
    waves: list[LoadWave] = []
    for number, wave in enumerate(table.waves):
        try:
            waves += _waves(wave)
        except InvalidValue as error:
            raise error.within(f"waves[{number}]") from None
    return tuple(waves)


def period_of(wave: WaveTable) -> float:
    """Return the period of a wave, s; ``nan`` if it is missing."""
    if wave.form == "table":
        return wave.times[-1] if wave.times else math.nan
    return math.nan if wave.period is None else wave.period


def beats_of(case: Case) -> tuple[float, ...]:
    """Return the periods of sources, chambers and reservoirs that change over time, s, each once."""
    fluid = [] if case.fluid is None else [case.fluid.lower, case.fluid.upper]
    tables = [*fluid, *(() if case.circuit is None else case.circuit.elements)]
    return tuple({table.times[-1] for table in tables if table.times})


def duration_of(table: StageTable) -> float | None:
    """Return the time of a stage, s, as given or until its last wave has passed; ``None`` without time."""
    if table.duration is not None or not table.waves:
        return table.duration
    ends = [
        math.inf
        if wave.cycles is None
        else wave.start + _delay(wave) * max(len(wave.on) - 1, 0) + wave.cycles * period_of(wave)
        for wave in table.waves
    ]
    return max(ends) if all(map(math.isfinite, ends)) else None


def time_step_of(table: StageTable, beats: Sequence[float] = ()) -> float | None:
    """Return the time step that divides the shortest period; ``None`` if ``steps`` holds.

    Args:
        table: The stage, with the periods of its waves.
        beats: Periods of what the lumen is connected to, which count in stages in which it answers.
    """
    periods = _periods(table, beats)
    if table.steps is not None or not periods or not all(period > 0 for period in periods):
        return None
    return min(periods) / (STEPS_PER_PERIOD if table.steps_per_period is None else table.steps_per_period)


def _periods(table: StageTable, beats: Sequence[float]) -> list[float]:
    """Periods of waves, and of what answers to the part in a stage."""
    return [period_of(wave) for wave in table.waves] + (list(beats) if table.control == "flow" else [])


def steps_of(table: StageTable, beats: Sequence[float] = ()) -> int:
    """Return the number of steps of a stage; the arguments are those of ``time_step_of``."""
    step, duration = time_step_of(table, beats), duration_of(table)
    if step is None or duration is None:
        return STEPS if table.steps is None else table.steps
    return max(1, math.ceil(duration / step - _SPARE))


def cycles_of(case: Case) -> Iterator[CycleWindow]:
    """Yield when the loads of each stage repeat: from the start of its last wave to the end of its first one.

    What the lumen is connected to repeats all along. A stage with different periods has no such time.
    """
    begins, beats = 0.0, beats_of(case)
    for stage in case.stages:
        duration = duration_of(stage) or 0.0
        periods = set(_periods(stage, beats))
        if len(periods) == 1:
            period = periods.pop()
            waves = [wave.waveform for wave in waves_of(stage)]
            ends = [w.start + w.period * w.cycles for w in waves if w.cycles is not None]
            first, last = (
                max((w.start for w in waves), default=0.0),
                min(duration, *ends) if ends else duration,
            )
            yield CycleWindow(stage.name, period, begins + first, begins + max(first, last), begins)
        begins += duration


def _waves(table: WaveTable) -> tuple[LoadWave, ...]:
    kind = next(kind for kind in LOAD_KINDS if kind.key == table.load)
    if bool(table.on) != bool(kind.acts_on):
        text = (
            f"is missing: name what the {kind.key} acts on ({kind.acts_on})"
            if kind.acts_on
            else (f"a wave of {kind.key} needs no name, because there is only one: leave it out")
        )
        raise InvalidValue(text, key="on")
    if len(set(table.on)) < len(table.on):
        raise InvalidValue("contains a name twice", key="on")
    if table.path is not None or table.form == "file":
        raise InvalidValue("needs the file of its points: path and form = 'file' go together", key="path")
    _check_keys(table)
    waveform = _waveform(table, kind)
    return travelling(
        kind.attribute, table.on or ("",), waveform, delay=_delay(table), direction=table.direction
    )


def _check_keys(table: WaveTable) -> None:
    """Refuse keys that the form does not use, and the absence of those that it needs."""
    allowed = (
        _OF_TABLE
        if table.form == "table"
        else ("amplitude", "offset", "period", *_PULSES.get(table.form, ()))
    )
    for key in ("amplitude", "offset", "period", "duty", "rise", "fall", *_OF_TABLE):
        if getattr(table, key) not in (None, ()) and key not in allowed:
            raise InvalidValue(f"does not belong to form = '{table.form}': leave it out", key=key)
    needed = ("times", "values") if table.form == "table" else ("amplitude", "period")
    for key in needed:
        if getattr(table, key) in (None, ()):
            raise InvalidValue(f"is missing: form = '{table.form}' needs it", key=key)
    if table.delay is not None and table.wavelength is not None:
        raise InvalidValue("cannot be given together with wavelength: give one of them", key="delay")
    if table.wavelength is not None and not table.wavelength > 0:
        raise InvalidValue(f"must be above 0, got {table.wavelength:g}", key="wavelength")


def _delay(table: WaveTable) -> float:
    """Return the delay from one entry to the next, s."""
    if table.delay is not None:
        return table.delay
    wavelength = table.wavelength if table.wavelength else max(len(table.on), 1)
    return period_of(table) / wavelength


def _waveform(table: WaveTable, kind: LoadKind) -> Waveform:
    if table.form == "table":
        return _of_points(table, kind)
    period = period_of(table)
    assert table.amplitude is not None
    return Waveform(
        form=_form(table, period),
        period=period,
        amplitude=_level("amplitude", table.amplitude, kind),
        offset=0.0 if table.offset is None else _level("offset", table.offset, kind),
        start=table.start,
        cycles=table.cycles,
    )


def _form(table: WaveTable, period: float) -> Form:
    rise = _RISE if table.rise is None else table.rise / period
    duty = table.duty
    if table.form == "sine":
        return Sine()
    if table.form == "raised cosine":
        return RaisedCosine(1.0 if duty is None else duty)
    fall = rise if table.fall is None else table.fall / period
    return trapezoid(0.5 if duty is None else duty, rise, fall)


def _of_points(table: WaveTable, kind: LoadKind) -> Waveform:
    """A table as an offset, the first value, and what is added to it."""
    if len(table.times) != len(table.values) or len(table.times) < 2:
        text = f"has {len(table.values)} entries for {len(table.times)} times: give as many, and at least 2"
        raise InvalidValue(text, key="values")
    levels = [_level("values", value, kind) for value in table.values]
    last = table.times[-1]
    if not last > 0:
        raise InvalidValue("must increase, from 0 s", key="times")
    phases = (*(t / last for t in table.times[:-1]), 1.0)
    form = Polyline(phases, tuple(level - levels[0] for level in levels))
    return Waveform(
        form=form, period=last, amplitude=1.0, offset=levels[0], start=table.start, cycles=table.cycles
    )


def _level(key: str, value: float | str, kind: LoadKind) -> float:
    try:
        number = parse(value, kind.unit)
    except UnitError as error:
        raise InvalidValue(f"{error}; write a {kind.number} such as '3 {kind.unit}'", key=key) from None
    note_unit(value, kind.number)
    return number
