# SPDX-License-Identifier: MIT
"""Electrodes that are fed through a series resistance and leak, as a flow system.

    d/dt Q = (V_source(t) - V)/R - V/R_leak - Q σ/ε

The unknowns are the voltages V. The structure gives the charges Q in the place of volumes; the voltages are
what pressures are for a lumen. Units are kV, uC, Gohm, uA and mW.
"""

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from annelid.geometry.checks import within
from annelid.geometry.errors import InvalidValue, checking
from annelid.solver.fluid.flow_system import Array, LumenState, Terms
from annelid.solver.fluid.signals import Source, at_time, finite


@dataclass(frozen=True)
class Feed:
    """How one electrode is fed.

    Attributes:
        name: Name of the electrode.
        source: Voltage of the source in kV, constant or over time; ``None`` where stages give it.
        resistance: Series resistance R in Gohm, for instance that of the sheet of the electrode.
        leak_resistance: R_leak beside the dielectric in Gohm; None without a leak.
        relaxation: Time ε/σ in s in which the charge leaks through a dielectric of the conductivity σ,
            whatever the shape of the part; None for a perfect dielectric.
    """

    name: str
    source: Source | None
    resistance: float
    leak_resistance: float | None = None
    relaxation: float | None = None

    def __post_init__(self) -> None:
        with checking(f"electrode '{self.name}'"):
            if self.source is not None:
                finite("source", self.source)
            within("resistance", self.resistance, above=0, unit="Gohm")
            if self.leak_resistance is not None:
                within("leak_resistance", self.leak_resistance, above=0, unit="Gohm")
            if self.relaxation is not None:
                within("relaxation", self.relaxation, above=0, unit="s")


class Powers(NamedTuple):
    """Electrical powers of one electrode in mW; what remains of that of the source goes into the part.

    Attributes:
        source: V_source times the current of the source; negative where energy is recovered.
        resistance: Lost in the series resistance.
        leak: Lost in the leak.
    """

    source: float
    resistance: float
    leak: float

    @property
    def part(self) -> float:
        """V dQ/dt, which the part stores or turns into work."""
        return self.source - self.resistance - self.leak


@dataclass(frozen=True)
class Charging:
    """Charging of electrodes; section i of the flow system is electrode i.

    Attributes:
        feeds: One for each electrode.
        voltage_scale: Typical voltage in kV.

    Raises:
        InvalidValue: There is no electrode, or two have one name.
    """

    feeds: tuple[Feed, ...]
    voltage_scale: float = 1.0

    def __post_init__(self) -> None:
        within("voltage_scale", self.voltage_scale, above=0, unit="kV")
        if not self.feeds:
            raise InvalidValue("needs at least one electrode, got none", key="feeds")
        names = [feed.name for feed in self.feeds]
        for name in names:
            if names.count(name) > 1:
                raise InvalidValue(f"'{name}' is fed twice: leave one feed out", key="feeds", value=name)

    @property
    def names(self) -> tuple[str, ...]:
        """Voltages of the electrodes."""
        return tuple(f"voltage of {feed.name}" for feed in self.feeds)

    @property
    def units(self) -> tuple[str, ...]:
        """Units of the unknowns."""
        return ("kV",) * len(self.feeds)

    @property
    def scales(self) -> Array:
        """The typical voltage."""
        return np.full(len(self.feeds), self.voltage_scale)

    @property
    def pressures(self) -> Array:
        """Each electrode has its own voltage."""
        return np.eye(len(self.feeds))

    def stored(self, y: Array, volumes: Array, t: float) -> Terms:
        """The charges, which are given in uC."""
        k = len(self.feeds)
        return Terms(volumes, np.zeros((k, k)), np.eye(k))

    def rate(self, y: Array, lumen: LumenState, t: float) -> Terms:
        """Currents of the sources less those of the leaks in uA."""
        k = len(self.feeds)
        conductances = self._conductances
        current = self.currents(y, t) - conductances[1] * y - self._relaxing * lumen.volumes
        by_lumen = np.hstack([-np.diag(self._relaxing), np.zeros((k, 2 * k))])
        return Terms(current, -np.diag(conductances.sum(axis=0)), by_lumen)

    def powers(self, y: Array, charges: Array, t: float) -> tuple[Powers, ...]:
        """Powers of each electrode; their integrals over the stages of the time steps are energies in mJ."""
        currents = self.currents(y, t)
        leaks = y * (self._conductances[1] * y + self._relaxing * charges)
        return tuple(
            Powers(source * i, feed.resistance * i**2, leak)
            for feed, source, i, leak in zip(
                self.feeds, self._sources(t).tolist(), currents.tolist(), leaks.tolist(), strict=True
            )
        )

    def currents(self, y: Array, t: float) -> Array:
        """Currents of the sources in uA, shape (k,)."""
        return self._conductances[0] * (self._sources(t) - y)

    def _sources(self, t: float) -> Array:
        """Voltages of the sources in kV."""
        return np.array([0.0 if feed.source is None else at_time(feed.source, t) for feed in self.feeds])

    @property
    def _relaxing(self) -> Array:
        """Rates σ/ε at which the charges leak, 1/s."""
        return np.array([1 / feed.relaxation if feed.relaxation else 0.0 for feed in self.feeds])

    @property
    def _conductances(self) -> Array:
        """Of the series resistances and of the leaks, shape (2, k)."""
        leaks = [1 / feed.leak_resistance if feed.leak_resistance else 0.0 for feed in self.feeds]
        return np.array([[1 / feed.resistance for feed in self.feeds], leaks])
