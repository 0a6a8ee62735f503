# SPDX-License-Identifier: MIT
"""Tables of a circuit that the lumen is connected to, of a fluid in it, and of feeds of electrodes."""

from typing import Annotated

from pydantic import Field

from annelid.cases.schema.base import (
    Choice,
    Density,
    Limit,
    Name,
    Number,
    Pressure,
    Table,
    Time,
    Volume,
    Whole,
)
from annelid.cases.schema.units import quantity
from annelid.cases.schema.wave import Entries
from annelid.solver.fluid.windkessels import ARRANGEMENTS

FlowResistance = Annotated[float, quantity("flow resistance", "a flow resistance", "1 mmHg s/mL", above=0)]
Inertance = Annotated[float, quantity("inertance", "an inertance", "0.005 mmHg s2/mL", above=0)]
Compliance = Annotated[float, quantity("compliance", "a compliance", "1.3 mL/mmHg", above=0)]
Elastance = Annotated[float, quantity("elastance", "an elastance", "2 mmHg/mL", above=0)]
FlowRate = Annotated[float, quantity("flow", "a flow", "5 mL/s")]
Viscosity = Annotated[float, quantity("viscosity", "a viscosity", "4 mPa s", above=0)]
ShearRate = Annotated[float, quantity("shear rate", "a rate of shear", "0.001 1/s", above=0)]
Resistance = Annotated[
    float, quantity("electrical resistance", "an electrical resistance", "2 Mohm", above=0)
]

ELEMENT_KINDS = (
    "lumen",
    "resistance",
    "valve",
    "inertance",
    "compliance",
    "chamber",
    "windkessel",
    "pressure source",
    "flow source",
)
ENDS = ("reservoir", "closed", "circuit")
NodeName = Annotated[str, Field(pattern=r"^\S(.*\S)?$", max_length=40)]


class OverTime(Table):
    """Points over time, by which the value of an element changes; they repeat after the last one."""

    times: tuple[Time, ...] = ()
    """Times from "0 s" on of a value that changes; it repeats after the last one, and is smooth between."""
    values: tuple[Limit, ...] = ()
    """Pressures, flows or elastances at these times; the last one equals the first."""


class ElementTable(OverTime):
    """An element of the circuit; its nodes come into being by their names."""

    name: Name
    """Name; quantities such as "flow through NAME" refer to it."""
    kind: Annotated[str, Choice(ELEMENT_KINDS)]
    """Kind of element, such as "valve"."""
    start: Annotated[NodeName | None, Field(alias="from")] = None
    """Node at which it begins, of elements between two nodes."""
    end: Annotated[NodeName | None, Field(alias="to")] = None
    """Node at which it ends; "ground" has the pressure zero."""
    node: NodeName | None = None
    """Node of an element at one node."""
    resistance: FlowResistance | None = None
    """Of a resistance, of an open valve, or the peripheral one of a windkessel, "1 mmHg s/mL"."""
    opening: Pressure | None = None
    """Pressure at which a valve opens; default: 0."""
    smoothing: Pressure | None = None
    """Pressure over which a valve opens; default: 1 Pa."""
    leak: Number | None = None
    """Conductance of a closed valve relative to the open one; default: 1e-6."""
    inertance: Inertance | None = None
    """Of an inertance, or of a windkessel of four elements, "0.005 mmHg s2/mL"."""
    compliance: Compliance | None = None
    """Of a compliance or a windkessel, "1.3 mL/mmHg"."""
    characteristic: FlowResistance | None = None
    """Characteristic resistance of a windkessel of three or four elements."""
    arrangement: Annotated[str, Choice(ARRANGEMENTS)] | None = None
    """Whether the inertance of a windkessel lies in "series" with or "parallel" to the characteristic
    resistance; default: series."""
    elastance: Elastance | None = None
    """Constant elastance of a chamber; else times and values."""
    unstressed_volume: Volume | None = None
    """Volume of a chamber without pressure; default: 0."""
    external: Pressure | None = None
    """Pressure around a compliance or a chamber; default: 0."""
    pressure: Pressure | None = None
    """Constant pressure of a pressure source; else times and values."""
    flow: FlowRate | None = None
    """Constant flow of a flow source; else times and values."""


class CircuitTable(Table):
    """A circuit of lumped elements; the lumen of the part is one of them or lies between two nodes."""

    elements: Annotated[tuple[ElementTable, ...], Field(min_length=1)]
    """The elements."""
    initial: dict[str, Pressure] = Field(default_factory=dict)
    """Pressures of nodes with a compliance or chamber at the start, { aorta = "80 mmHg" }; default: 0."""


class FluidEndTable(OverTime):
    """An end of the lumen."""

    kind: Annotated[str, Choice(ENDS)] = "reservoir"
    """"reservoir": at a pressure, which is 0 by default; "closed"; or "circuit": at a node of the circuit."""
    pressure: Pressure | None = None
    """Constant pressure of a reservoir; else times and values."""
    node: NodeName | None = None
    """Node of the circuit."""


class FluidTable(Table):
    """A viscous fluid that flows along the lumen; its pressure acts back on the wall."""

    viscosity: Viscosity
    """Viscosity, "10 Pa s"; with an index the viscosity at the rate of shear 1/s."""
    index: Number = 1.0
    """Index n of a power law, viscosity times (rate of shear)^(n - 1); 1 is Newtonian."""
    slowest_shear: ShearRate = 1e-3
    """Rate of shear below which the power law is Newtonian."""
    density: Density = 1e-9
    """Density, with which it is judged whether the theory holds; default: that of water."""
    sections: Whole | None = None
    """Sections of equal drawn length with pressures of their own; default: 40, or fewer in a coarse mesh."""
    gap: Annotated[float, quantity("length", "a length", "0.1 mm", above=0)]
    """Smallest radius for the flow where the lumen closes."""
    lower: FluidEndTable = FluidEndTable()
    """End at the bottom."""
    upper: FluidEndTable = FluidEndTable()
    """End at the top."""


class FeedTable(Table):
    """How electrodes are fed; the voltages in stages with control = "flow" are then those of the sources."""

    on: Annotated[Entries, Field(min_length=1)]
    """Electrodes, each with a source and a resistance of its own."""
    resistance: Resistance
    """Series resistance, for instance that of the sheet of the electrode, "2 Mohm"."""
    leak_resistance: Resistance | None = None
    """Resistance of a leak beside the dielectric; default: none."""
