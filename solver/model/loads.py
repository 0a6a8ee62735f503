# SPDX-License-Identifier: MIT
"""Loads: the kinds there are, and what acts on a model at one moment."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace
from typing import NamedTuple

from annelid.solver.display import KINDS, DisplayUnits
from annelid.solver.records import Measure


class LoadKind(NamedTuple):
    """One kind of load.

    Attributes:
        attribute: Attribute of ``Loads`` and ``LoadTargets``.
        key: Key of a stage in a case file.
        label: Name in tables, followed by the name of the entry if there are several.
        number: Kind of number, a key of ``display.KINDS``.
        acts_on: What the entries name; "" for a load of one value.
        margin: Name of the load in a stability margin; "" if it has none.
    """

    attribute: str
    key: str
    label: str
    number: str
    acts_on: str = ""
    margin: str = ""

    @property
    def unit(self) -> str:
        """Internal unit."""
        return KINDS[self.number].unit

    def entry(self, name: str) -> str:
        """What a load of this kind acts on, from its name in tables; "" for a load of one value."""
        return name.removeprefix(self.label).lstrip()


LOAD_KINDS = (
    LoadKind("pressure", "pressure", "pressure", "pressure", "", "pressure"),
    LoadKind(
        "surface_pressures", "surface_pressure", "pressure on", "pressure", "surface", "surface pressure"
    ),
    LoadKind("voltages", "voltage", "voltage", "voltage", "electrode", "voltage"),
    LoadKind("obstacles", "obstacle", "obstacle", "length", "contact"),
    LoadKind("forces", "force", "axial force", "force", "surface", "force"),
    LoadKind("radial_forces", "radial_force", "radial force", "force", "surface", "radial force"),
    LoadKind("displacements", "move", "displacement", "length", "support", "move"),
    LoadKind("torques", "torque", "torque", "torque", "end surface", "torque"),
    LoadKind("twists", "twist", "rotation", "angle", "support against rotation", "twist"),
    LoadKind("gravity", "gravity", "gravity", "acceleration", "direction", "gravity"),
)
"""In the order of tables. ``assembly/load_operators.py`` holds how each enters the equations."""


def load_kind(name: str) -> LoadKind | None:
    """Return the kind of a load from its name in tables; ``None`` if it is no load."""
    found = (k for k in LOAD_KINDS if name == k.label or (k.acts_on and name.startswith(f"{k.label} ")))
    return next(found, None)


TOGETHER = "all loads"
"""Name of all loads together in a stability margin."""


@dataclass(frozen=True, kw_only=True)
class _Entries:
    """Loads of several entries, by what they act on; attributes as in ``Loads``."""

    surface_pressures: Mapping[str, float] = field(default_factory=dict)
    voltages: Mapping[str, float] = field(default_factory=dict)
    obstacles: Mapping[str, float] = field(default_factory=dict)
    forces: Mapping[str, float] = field(default_factory=dict)
    radial_forces: Mapping[str, float] = field(default_factory=dict)
    displacements: Mapping[str, float] = field(default_factory=dict)
    torques: Mapping[str, float] = field(default_factory=dict)
    twists: Mapping[str, float] = field(default_factory=dict)
    gravity: Mapping[str, float] = field(default_factory=dict)


@dataclass(frozen=True, kw_only=True)
class Loads(_Entries):
    """Loads on a model at one moment, or their rate of change along a stage.

    Attributes:
        pressure: Lumen pressure P, MPa.
        surface_pressures: Pressure on other surfaces, positive towards the material, MPa.
        voltages: kV by electrode.
        obstacles: Position of obstacles by contact name, mm.
        forces: Axial dead force along +Z by surface, N, on the whole part.
        radial_forces: Radial dead force away from the axis by surface, summed around the whole part, N.
        displacements: Axial motion of a support, mm.
        torques: Dead torque about +Z by end surface, N mm, on the whole part.
        twists: Rotation of a support about +Z, degrees.
        gravity: Acceleration of gravity by direction (``"axial"``, ``"x"``, ``"y"``), mm/s².
        natural: Fraction of the natural stretch in force, 0 to 1.
        time: Of this moment, s; no load itself.
        sections: Pressures in the sections of the lumen above their mean, which is ``pressure``, MPa; of a
            flow along the lumen, and never a rate.
    """

    pressure: float = 0.0
    natural: float = 1.0
    time: float = 0.0
    sections: tuple[float, ...] = ()

    def entries(self, kind: LoadKind) -> dict[str, float]:
        """Values of one kind by entry; a load of one value has the entry ""."""
        value = getattr(self, kind.attribute)
        return dict(value) if kind.acts_on else {"": value}

    def largest(self, kind: LoadKind) -> float:
        """The value of one kind, of several entries the largest in size."""
        return max(self.entries(kind).values(), key=abs, default=0.0)

    def without(self, kind: LoadKind) -> "Loads":
        """The same loads with all entries of one kind at zero."""
        zero = dict.fromkeys(self.entries(kind), 0.0) if kind.acts_on else 0.0
        return replace(self, **{kind.attribute: zero})  # type: ignore[arg-type]

    @property
    def pressures(self) -> dict[str, float]:
        """Pressure on every surface that a fluid wets, MPa."""
        return {"lumen": self.pressure, **self.surface_pressures}

    @property
    def is_zero(self) -> bool:
        """Whether every entry is zero."""
        return not self.natural and not any(
            value for kind in LOAD_KINDS for value in self.entries(kind).values()
        )

    def measures(self) -> Iterator[tuple[str, LoadKind, Measure]]:
        """Name in tables, kind, and value with its unit of every entry."""
        for kind in LOAD_KINDS:
            for name, value in self.entries(kind).items():
                yield f"{kind.label} {name}".strip(), kind, Measure(value, kind.unit)


@dataclass(frozen=True, kw_only=True)
class LoadTargets(_Entries):
    """Loads to reach; what is not named stays as it is. Attributes as in ``Loads``."""

    pressure: float | None = None

    def target(self, kind: LoadKind) -> Mapping[str, float]:
        """Targets of one kind by entry; empty where none is named."""
        value = getattr(self, kind.attribute)
        if kind.acts_on:
            return dict(value)
        return {} if value is None else {"": value}

    @property
    def names_loads(self) -> bool:
        """Whether any load is named."""
        return any(self.target(kind) for kind in LOAD_KINDS)

    def reached_from(self, present: Loads) -> Loads:
        """The present loads with the targets in place of those named."""
        changes: dict[str, object] = {}
        for kind in LOAD_KINDS:
            named = self.target(kind)
            if named:
                changes[kind.attribute] = {**present.entries(kind), **named} if kind.acts_on else named[""]
        return replace(present, **changes)  # type: ignore[arg-type]


def describe(loads: Loads, units: DisplayUnits) -> str:
    """Loads in words; those that are zero are left out, but for positions of obstacles."""
    words = [
        f"{name} {units.show(kind.number, measure.value, 5)}"
        for name, kind, measure in loads.measures()
        if measure.value or kind.attribute == "obstacles"
    ]
    return ", ".join(words) or "no load"
