# SPDX-License-Identifier: MIT
"""Waveforms of loads over time: one period as a form, repeated in cycles, and delayed from ring to ring."""

import math
from abc import ABC, abstractmethod
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

from annelid.geometry.checks import whole_number, within
from annelid.geometry.errors import InvalidValue

_SAME = 1e-9  # of a period: phases this near are one
DIRECTIONS = ("up", "down")


class Form(ABC):
    """One period of a waveform over the phase θ from 0 to 1."""

    knots: tuple[float, ...] = (0.0, 1.0)
    """Phases at which the slope jumps."""

    @abstractmethod
    def value(self, θ: float) -> float:
        """Value at a phase."""

    @abstractmethod
    def slope(self, θ: float) -> float:
        """Derivative by the phase; where it jumps, that of the phases after it."""


@dataclass(frozen=True)
class Polyline(Form):
    """Straight lines between points.

    Attributes:
        phases: Phases of the points, increasing from 0 to 1.
        values: Their values.

    Raises:
        InvalidValue: The points do not cover a period in order.
    """

    phases: tuple[float, ...]
    values: tuple[float, ...]

    def __post_init__(self) -> None:
        if len(self.phases) != len(self.values) or len(self.phases) < 2:
            raise InvalidValue("needs at least two points", key="table")
        rising = all(a < b for a, b in pairwise(self.phases))
        if not rising or (self.phases[0], self.phases[-1]) != (0.0, 1.0):
            raise InvalidValue("the times must increase, from 0", key="table")

    @property
    def knots(self) -> tuple[float, ...]:  # type: ignore[override]
        """The points."""
        return self.phases

    def value(self, θ: float) -> float:
        """Linear between the points."""
        i = self._piece(θ)
        part = (θ - self.phases[i]) / (self.phases[i + 1] - self.phases[i])
        return (1 - part) * self.values[i] + part * self.values[i + 1]

    def slope(self, θ: float) -> float:
        """Of the piece that begins at the phase or contains it."""
        i = self._piece(θ)
        return (self.values[i + 1] - self.values[i]) / (self.phases[i + 1] - self.phases[i])

    def _piece(self, θ: float) -> int:
        begun = sum(phase <= θ + _SAME for phase in self.phases)
        return min(max(begun, 1), len(self.phases) - 1) - 1


class Sine(Form):
    """sin 2πθ."""

    def value(self, θ: float) -> float:
        """Between -1 and 1."""
        return math.sin(2 * math.pi * θ)

    def slope(self, θ: float) -> float:
        """2π cos 2πθ."""
        return 2 * math.pi * math.cos(2 * math.pi * θ)


@dataclass(frozen=True)
class RaisedCosine(Form):
    """(1 - cos 2πθ/d)/2 in the first part of the period, then zero.

    Attributes:
        duty: That part, d.
    """

    duty: float = 1.0

    def __post_init__(self) -> None:
        within("duty", self.duty, above=0.0, most=1.0)

    @property
    def knots(self) -> tuple[float, ...]:  # type: ignore[override]
        """Beginning and end of the pulse, where the curvature jumps."""
        return (0.0, self.duty, 1.0) if self.duty < 1 else (0.0, 1.0)

    def value(self, θ: float) -> float:
        """Between 0 and 1."""
        return (1 - math.cos(2 * math.pi * θ / self.duty)) / 2 if θ < self.duty else 0.0

    def slope(self, θ: float) -> float:
        """Derivative of the pulse."""
        turn = 2 * math.pi / self.duty
        return turn / 2 * math.sin(turn * θ) if θ < self.duty else 0.0


def trapezoid(duty: float, rise: float, fall: float) -> Polyline:
    """A pulse that rises, stays and falls in the first part of the period.

    Args:
        duty: That part of the period, with rise and fall.
        rise: Of the period.
        fall: Of the period.

    Raises:
        InvalidValue: A value out of its range, or rise and fall longer than the pulse.
    """
    within("duty", duty, above=0.0, most=1.0)
    within("rise", rise, above=0.0, most=1.0)
    within("fall", fall, above=0.0, most=1.0)
    if rise + fall > duty + _SAME:
        raise InvalidValue(
            f"rise and fall take {rise + fall:g} of the period, the pulse only duty = {duty:g}: shorten them",
            key="rise",
        )
    points = [(0.0, 0.0), (rise, 1.0)]
    if duty - fall > rise + _SAME:
        points.append((duty - fall, 1.0))
    points.append((min(duty, 1.0), 0.0))
    if duty < 1:
        points.append((1.0, 0.0))
    phases, values = zip(*points, strict=True)
    return Polyline(phases, values)


@dataclass(frozen=True, kw_only=True)
class Waveform:
    """A load over time: ``offset`` until ``start``, then cycles of a form, then the value at their end.

    Attributes:
        form: One period.
        period: s.
        amplitude: Factor of the form, in the unit of the load.
        offset: Added to it.
        start: Time of the first cycle, s.
        cycles: Number of cycles; ``None`` goes on for ever.

    Raises:
        InvalidValue: A value out of its range, or a form that is repeated without ending where it begins.
    """

    form: Form
    period: float
    amplitude: float
    offset: float = 0.0
    start: float = 0.0
    cycles: int | None = None

    def __post_init__(self) -> None:
        within("period", self.period, above=0.0, unit="s")
        within("delay", self.start, least=0.0, unit="s")
        if not math.isfinite(self.amplitude) or not math.isfinite(self.offset):
            raise InvalidValue("amplitude and offset must be finite", key="amplitude")
        if self.cycles is not None:
            whole_number("cycles", self.cycles, least=1)
        if self.cycles != 1 and abs(self.form.value(1.0) - self.form.value(0.0)) > _SAME:
            raise InvalidValue(
                "a form that is repeated must end where it begins: close it, or set cycles = 1", key="table"
            )

    def value(self, t: float) -> float:
        """Load at a time."""
        return self.offset + self.amplitude * self.form.value(self._phase(t)[0])

    def rate(self, t: float) -> float:
        """Derivative by time; where it jumps, that of the times after it."""
        θ, moves = self._phase(t)
        return self.amplitude / self.period * self.form.slope(θ) if moves else 0.0

    def corners(self, end: float) -> Iterator[float]:
        """Times between 0 and ``end`` at which the rate jumps, ascending."""
        number = 0
        while self.cycles is None or number < self.cycles:
            for θ in self.form.knots[:-1]:
                t = self.start + (number + θ) * self.period
                if t >= end:
                    return
                if t > 0:
                    yield t
            number += 1
        last = self.start + number * self.period
        if last < end:
            yield last

    def delayed(self, by: float) -> "Waveform":
        """The same, starting later."""
        return replace(self, start=self.start + by)

    def _phase(self, t: float) -> tuple[float, bool]:
        """Phase at a time, and whether the form moves on from there."""
        turns = (t - self.start) / self.period
        if turns < -_SAME:
            return 0.0, False
        if self.cycles is not None and turns >= self.cycles - _SAME:
            return 1.0, False
        whole = math.floor(turns + _SAME)
        return max(turns - whole, 0.0), True


@dataclass(frozen=True)
class LoadWave:
    """A load that follows a waveform from the start of a stage on.

    Attributes:
        attribute: Attribute of ``Loads``.
        entry: What it acts on, "" for a load of one value.
        waveform: Its value over the time in the stage.
    """

    attribute: str
    entry: str
    waveform: Waveform


def travelling(
    attribute: str, rings: Sequence[str], waveform: Waveform, *, delay: float, direction: str = "up"
) -> tuple[LoadWave, ...]:
    """A waveform that travels over rings, one after another.

    Args:
        attribute: Attribute of ``Loads``.
        rings: In the order of "up".
        waveform: Of the first ring that it reaches.
        delay: From ring to ring, s.
        direction: One of ``DIRECTIONS``.
    """
    order = rings if direction == "up" else rings[::-1]
    return tuple(LoadWave(attribute, ring, waveform.delayed(i * delay)) for i, ring in enumerate(order))
