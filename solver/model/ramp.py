# SPDX-License-Identifier: MIT
"""How the loads change along one parameter from 0 to 1 within a stage."""

from collections.abc import Callable, Collection, Iterator, Sequence
from dataclasses import dataclass, replace

from annelid.geometry.errors import Finding, InvalidValue
from annelid.solver.model.contact import Contact
from annelid.solver.model.loads import LOAD_KINDS, Loads
from annelid.solver.model.stages import Stage
from annelid.solver.model.waveforms import LoadWave

_SAME = 1e-9


@dataclass(frozen=True)
class Ramp:
    """Loads as functions of the parameter s of one stage: linear from ``start`` to ``end``, or waves in time.

    Attributes:
        start: Loads at s = 0.
        end: Loads at s = 1.
        waves: Loads that follow waveforms instead.
    """

    start: Loads
    end: Loads
    waves: tuple[LoadWave, ...] = ()

    @property
    def duration(self) -> float:
        """Time of the stage, s; 0 where time does not matter."""
        return self.end.time - self.start.time

    def at(self, s: float) -> Loads:
        """Loads at s."""
        straight = self._mapped(lambda a, b: (1 - s) * a + s * b)  # exact at both ends
        return _with(straight, {wave: wave.waveform.value(s * self.duration) for wave in self.waves})

    def rate_at(self, s: float) -> Loads:
        """Derivative of the loads by s; where it jumps, that of the loads after s."""
        straight = self._mapped(lambda a, b: b - a)
        rates = {wave: self.duration * wave.waveform.rate(s * self.duration) for wave in self.waves}
        return _with(straight, rates)

    def corners(self) -> list[float]:
        """Values of s between 0 and 1 at which the rate jumps, ascending."""
        times = sorted({t for wave in self.waves for t in wave.waveform.corners(self.duration)})
        ascending: list[float] = []
        for s in (t / self.duration for t in times):
            if _SAME < s < 1 - _SAME and (not ascending or s > ascending[-1] + _SAME):
                ascending.append(s)
        return ascending

    def _mapped(self, combine: Callable[[float, float], float]) -> Loads:
        """Loads whose every entry is combined from those at both ends."""
        values: dict[str, object] = {
            name: combine(getattr(self.start, name), getattr(self.end, name)) for name in ("natural", "time")
        }
        for kind in LOAD_KINDS:
            before = self.start.entries(kind)
            entries = {
                name: combine(before.get(name, 0.0), value) for name, value in self.end.entries(kind).items()
            }
            values[kind.attribute] = entries if kind.acts_on else entries[""]
        return replace(self.end, **values)  # type: ignore[arg-type]


def ramp_of(stage: Stage, present: Loads) -> Ramp:
    """Loads of a stage that starts from the present ones.

    Raises:
        InvalidValue: A waveform does not begin at the present value of its load.
    """
    _check_start(stage, present)
    time = present.time + (stage.duration or 0.0)
    return Ramp(present, replace(stage.reached_from(present), natural=1.0, time=time), stage.waves)


def check_wave_starts(
    stages: Sequence[Stage], contacts: Sequence[Contact], early: Collection[int] = ()
) -> Iterator[Finding]:
    """Check that waves begin at the loads with which their stages start, as far as these are known before.

    Args:
        stages: The stages.
        contacts: Obstacles with their drawn positions.
        early: Numbers of the stages that may end before their loads are reached.
    """
    loads = Loads(obstacles={contact.name: contact.position for contact in contacts})
    for index, stage in enumerate(stages):
        try:
            _check_start(stage, loads)
        except InvalidValue as error:
            yield Finding(("stages", index), error)
        if stage.control != "load" or stage.until or index in early:
            return
        loads = stage.reached_from(loads)


def _check_start(stage: Stage, present: Loads) -> None:
    for wave in stage.waves:
        kind = next(kind for kind in LOAD_KINDS if kind.attribute == wave.attribute)
        now, begins = present.entries(kind).get(wave.entry, 0.0), wave.waveform.value(0.0)
        if abs(begins - now) > _SAME * max(abs(begins), abs(now)):
            what = f"{kind.label} {wave.entry}".strip()
            raise InvalidValue(
                f"the wave of {what} begins at {begins:g} {kind.unit}, but the stage starts with {now:g} "
                f"{kind.unit}: bring it there in a stage before, or change the offset",
                key="waves",
                subject=f"stage '{stage.name}'",
            )


def _with(loads: Loads, values: dict[LoadWave, float]) -> Loads:
    """Loads with the values of some waves."""
    changes: dict[str, object] = {}
    for kind in LOAD_KINDS:
        named = {wave.entry: value for wave, value in values.items() if wave.attribute == kind.attribute}
        if named:
            changes[kind.attribute] = {**loads.entries(kind), **named} if kind.acts_on else named[""]
    return replace(loads, **changes) if changes else loads  # type: ignore[arg-type]
