# SPDX-License-Identifier: MIT
"""Stages: the loads to reach, and what drives the way there."""

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import NamedTuple

import numpy as np

from annelid.geometry.body import FloatArray
from annelid.geometry.checks import one_of, whole_number, within
from annelid.geometry.errors import InvalidValue, checking
from annelid.solver.model.loads import LOAD_KINDS, LoadTargets
from annelid.solver.model.stage_ends import EndCondition
from annelid.solver.model.waveforms import LoadWave


@dataclass(frozen=True)
class PointMotion:
    """Motion of one point, the node nearest to a position of the reference shape, or of several.

    Attributes:
        position: Reference position, (R, Z) or (X, Y, Z), mm; or several positions.
        component: 0-based component of the displacement; the last one is axial.
        motion: Displacement to reach, mm; of several points the sum with their weights.
        weights: Of several points.
    """

    position: tuple[float, ...] | tuple[tuple[float, ...], ...]
    component: int
    motion: float
    weights: tuple[float, ...] = (1.0,)

    @property
    def positions(self) -> FloatArray:
        """Reference position of each point, shape (k, dim), mm."""
        return np.atleast_2d(np.asarray(self.position, dtype=float))


@dataclass(frozen=True, kw_only=True)
class DriverTargets:
    """Values to reach under the control of each driver; at most one is given.

    Attributes:
        volume: Enclosed volume of the lumen, mm³ (``"volume"``; the pressure is found).
        charges: Charge by electrode, uC (``"charge"``; the electrodes named share one voltage, which is
            found, and their charges are added).
        point: Motion of a point (``"displacement"``; the loads of the stage are scaled to it).
        opening: Section and mean inner radius, mm (``"opening"``; the loads are scaled to it).
        arc: Length of path to follow, as root mean square motion, mm (``"arc"``; the loads of the stage give
            the proportion in which they change; the stage also ends where they are reached).
        backward: Under arc control, start with falling loads.
    """

    volume: float | None = None
    charges: Mapping[str, float] = field(default_factory=dict)
    point: PointMotion | None = None
    opening: tuple[str, float] | None = None
    arc: float | None = None
    backward: bool = False


class Driver(NamedTuple):
    """How a stage names the target of one control.

    Attributes:
        target: Attribute of ``DriverTargets``.
        key: Key of the target in a case file.
        scales_loads: Whether the loads that the stage names are scaled to reach the target.
        finds: Load that is found instead, by its name in a stability margin; "" if none.
    """

    target: str
    key: str
    scales_loads: bool = False
    finds: str = ""


DRIVERS = {
    "volume": Driver("volume", "volume", finds="pressure"),
    "charge": Driver("charges", "charge", finds="voltage"),
    "displacement": Driver("point", "point", scales_loads=True),
    "opening": Driver("opening", "opening", scales_loads=True),
    "arc": Driver("arc", "arc", scales_loads=True),
}
"""By control; "load" has no target. ``continuation/drivers.py`` holds how each control finds its load."""

MOST_STEPS = 100_000  # of a stage that takes time; more are typing errors

CONTROLS = ("load", "flow", *DRIVERS)


@dataclass(frozen=True)
class Stage(DriverTargets, LoadTargets):
    """Moves loads from their present values to targets; what is not named stays as it is.

    Attributes:
        name: For the path table.
        control: One of ``CONTROLS``.
        steps: Number of equal steps requested; they are halved where the solution is hard to follow.
        duration: Time that the stage takes, s; ``None`` where its loads change without time.
        time_step: Steps end at multiples of it, s, so that cycles have states at equal phases; ``None`` for
            equal steps.
        waves: Loads that follow waveforms over the time in the stage.
        until: The stage ends at the first state at which one of these conditions is met.

    Raises:
        InvalidValue: Unknown control, no steps, or a control without its target (or the reverse).
    """

    name: str
    control: str = "load"
    steps: int = 10
    duration: float | None = None
    time_step: float | None = None
    waves: tuple[LoadWave, ...] = ()
    until: tuple[EndCondition, ...] = ()

    def __post_init__(self) -> None:
        with checking(f"stage '{self.name}'"):
            self._check()

    def _check(self) -> None:
        one_of("control", self.control, CONTROLS)
        whole_number("steps", self.steps, least=1)
        given = [control for control, driver in DRIVERS.items() if getattr(self, driver.target)]
        if len(given) > 1:
            first, second = (DRIVERS[control].key for control in given[:2])
            raise InvalidValue(f"{first} and {second} both drive the stage: give one of them", key=second)
        if given != [self.control] * (self.control in DRIVERS):
            self._refuse_pair(given)
        self._check_targets()
        self._name_waves()
        self._check_found_load()

    def _refuse_pair(self, given: list[str]) -> None:
        """A control and the target of another, or one without the other."""
        if self.control not in DRIVERS:
            key = DRIVERS[given[0]].key
            raise InvalidValue(f"{key} needs control = '{given[0]}'", key=key)
        key = DRIVERS[self.control].key
        if given:
            text = f"'{self.control}' does not match {DRIVERS[given[0]].key}; it needs {key}"
        else:
            text = f"'{self.control}' needs its target: {key}"
        raise InvalidValue(text, key="control")

    def _check_targets(self) -> None:
        if self.volume is not None:
            within("volume", self.volume, above=0.0, unit="mm3")
        if self.opening is not None:
            within(f"opening.{self.opening[0]}", self.opening[1], above=0.0, unit="mm")
        if self.arc is not None:
            within("arc", self.arc, above=0.0, unit="mm")
        if self.backward and self.control != "arc":
            raise InvalidValue("only an arc can start backward: leave it out", key="backward")

    def _check_found_load(self) -> None:
        """A load that the control finds is not given as well; one that scales loads needs some."""
        if self.control == "volume" and self.pressure is not None:
            raise InvalidValue("under volume control the pressure is found: leave it out", key="pressure")
        both = [name for name in self.charges if name in self.voltages]
        if both:
            raise InvalidValue(
                f"under charge control the voltage of '{both[0]}' is found: leave it out", key="voltage"
            )
        if self.control in DRIVERS and DRIVERS[self.control].scales_loads and not self.names_loads:
            keys = ", ".join(kind.key for kind in LOAD_KINDS)
            raise InvalidValue(
                f"'{self.control}' scales the loads of the stage: name at least one ({keys})", key="control"
            )

    def _name_waves(self) -> None:
        """Name the loads that follow waves with their values at the end of the stage.

        Raises:
            InvalidValue: A wave without time, under a control that finds loads, or of a load that is given.
        """
        if self.duration is None:
            if self.waves or self.control == "flow":
                what = "waves take" if self.waves else "a flow takes"
                raise InvalidValue(f"is missing: {what} time", key="duration")
            return
        within("duration", self.duration, above=0.0, unit="s")
        if self.time_step is not None:
            within("time_step", self.time_step, above=0.0, unit="s")
        if 1 / self.regular_step > MOST_STEPS:
            steps = f"{1 / self.regular_step:.3g} steps, more than {MOST_STEPS}"
            raise InvalidValue(f"takes {steps}: shorten the stage, or make its steps longer", key="duration")
        given = [(wave.attribute, wave.entry) for wave in self.waves]
        twice = next((name for name in given if given.count(name) > 1), None)
        if twice is not None:
            raise InvalidValue(f"{' '.join(twice).strip()} follows two waves: give one of them", key="waves")
        if self.waves and self.control in DRIVERS:
            raise InvalidValue(f"'{self.control}' finds loads, but waves give them", key="control")
        if self.control in DRIVERS and DRIVERS[self.control].scales_loads:
            raise InvalidValue(
                f"'{self.control}' scales loads, which takes no time: leave it out", key="duration"
            )
        for wave in self.waves:
            cycles = self.duration / wave.waveform.period
            if cycles > MOST_STEPS:
                text = f"contains {cycles:.3g} cycles of a wave, more than {MOST_STEPS}"
                raise InvalidValue(f"{text}: shorten it, or make the period longer", key="duration")
            kind = next(kind for kind in LOAD_KINDS if kind.attribute == wave.attribute)
            named = self.target(kind)
            end = wave.waveform.value(self.duration)
            if named.get(wave.entry, end) != end:
                raise InvalidValue(f"{kind.label} {wave.entry}".strip() + " is given twice", key="waves")
            object.__setattr__(self, wave.attribute, {**named, wave.entry: end} if kind.acts_on else end)

    def regular(self) -> list[float]:
        """Positions between 0 and 1 at which the steps of a stage that takes time end."""
        share = self.regular_step
        return [] if self.duration is None else [k * share for k in range(1, math.ceil(1 / share))]

    @property
    def regular_step(self) -> float:
        """Length of a step that is not shortened, as a share of the stage; the last one may be shorter."""
        if self.duration is None or self.time_step is None:
            return 1.0 / self.steps
        return self.time_step / self.duration

    def follows_wave(self, attribute: str, entry: str = "") -> bool:
        """Whether a load follows a wave, so that it may act although it ends at zero."""
        return any((wave.attribute, wave.entry) == (attribute, entry) for wave in self.waves)


def pressed_surfaces(stages: Iterable[Stage]) -> tuple[str, ...]:
    """Surfaces other than the lumen whose pressure some stage sets."""
    return tuple(dict.fromkeys(name for stage in stages for name in stage.surface_pressures))
