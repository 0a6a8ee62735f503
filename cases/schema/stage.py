# SPDX-License-Identifier: MIT
"""Electrodes, supports, stages and requirements as a case file writes them."""

from typing import Annotated, Any, Literal

from pydantic import BeforeValidator, Field

from annelid.cases.schema.base import (
    Acceleration,
    Charge,
    Choice,
    Density,
    Force,
    FoundationStiffness,
    Length,
    Name,
    Number,
    Pressure,
    Table,
    Voltage,
    Volume,
    Whole,
)
from annelid.solver.model.boundary import DIRECTIONS, HOLDS, HOT_FACES
from annelid.solver.model.model import ELECTRICS
from annelid.solver.model.stages import CONTROLS
from annelid.solver.model.stepping import BEYOND


class ElectricsTable(Table):
    """How the electric field is found."""

    model: Annotated[str, Choice(ELECTRICS)] = "layered"
    """"layered": voltage over sheet thickness, along the normal. "solved": the potential is an unknown."""


class ElectrodeTable(Table):
    """A ring electrode: a band of one layer between two heights."""

    name: Name
    """Name, for stages and quantities."""
    region: Name
    """The layer it is in."""
    start: Annotated[Length | None, Field(alias="from")] = None
    """Lower edge along the axis; left out: the lower end of the layer."""
    end: Annotated[Length | None, Field(alias="to")] = None
    """Upper edge along the axis; left out: the upper end of the layer."""
    hot_face: Annotated[str, Choice(HOT_FACES)] = "outer"
    """Face that carries the voltage when the potential is solved; the other is grounded."""


class SupportTable(Table):
    """How a surface is held; surfaces without a support are free."""

    region: str
    """Surface, for example "end_low"."""
    hold: Annotated[str, Choice(HOLDS)]
    """"all": clamped; "axial": slides in its plane; "radial": keeps its radius; "symmetric": no motion across
    its plane; "plate": stays plane and moves along the axis; "plate all": the same with the radius held;
    "rigid motion": single nodes are fixed against the rigid motions that nothing else prevents; balanced
    loads need no force there; "free": an open end of the lumen is meant to be free, so that pressure acts on
    the wall alone."""


class FoundationTable(Table):
    """An elastic foundation that resists the motion of a surface, such as surrounding tissue."""

    region: str
    """Surface, for example "outer"."""
    stiffness: FoundationStiffness
    """Pressure per displacement, for example "2 kPa/mm"."""
    direction: Annotated[str, Choice(DIRECTIONS)] = "normal"
    """Whether only motion across the surface is resisted, or all."""


class SurroundingsTable(Table):
    """What surrounds the part."""

    fluid_density: Density | None = None
    """Density of a fluid inside and around the part, whose buoyancy reduces the weight of the part."""


class SectionTable(Table):
    """A named height at which the radius is reported."""

    name: Name
    """Name, as in the quantity "radial expansion NAME"."""
    at: Length
    """Height along the axis as drawn."""


def _all_electrodes(value: Any) -> Any:
    return {"all": value} if isinstance(value, str | int | float) else value


Voltages = Annotated[
    dict[str, Voltage],
    BeforeValidator(_all_electrodes, json_schema_input_type=dict[str, Voltage] | Voltage),
]


class PointMotionTable(Table):
    """Motion of one point of the part."""

    at: Annotated[tuple[Length, ...], Field(min_length=2, max_length=3)]
    """Position of the point as drawn: radius and height, or X, Y and Z in 3-D models."""
    direction: Literal["radial", "axial", "x", "y", "z"] = "axial"
    """Direction of the motion; "x", "y" and "z" in 3-D models."""
    motion: Length
    """Displacement to reach, for example "-3 mm"."""


class StageTable(Table):
    """A change of loads from their present values to the given ones; what is left out stays as it is."""

    name: Annotated[str, Field(pattern=r"^\S(.*\S)?$", max_length=60)] = ""
    """Name of the stage; left out: "stage 1", "stage 2" and so on."""
    pressure: Pressure | None = None
    """Pressure in the lumen over the outside, for example "40 mmHg"."""
    voltage: Voltages = Field(default_factory=dict)
    """Voltage of each electrode, { ring_1 = "3 kV" }; one text or the key "all" means every electrode."""
    force: dict[str, Force] = Field(default_factory=dict)
    """Axial dead force on end surfaces, { end_high = "0.5 N" }; positive along the axis, upwards."""
    move: dict[str, Length] = Field(default_factory=dict)
    """Axial displacement of supported end surfaces, { end_high = "3 mm" }."""
    obstacle: dict[str, Length] = Field(default_factory=dict)
    """Radius, height or distance of obstacles, { mandrel = "4.5 mm" }."""
    gravity: dict[str, Acceleration] = Field(default_factory=dict)
    """Acceleration of gravity, { axial = "-9.81 m/s2" }, in 3-D models also along x and y; every
    material needs a density."""
    volume: Volume | None = None
    """Volume enclosed by the lumen, for example "40 mL"; the pressure is found."""
    charge: dict[str, Charge] = Field(default_factory=dict)
    """Charge on electrodes, { ring_1 = "0.3 uC" }; several share one voltage, which is found."""
    point: PointMotionTable | None = None
    """Motion of one point; the loads of the stage are scaled to reach it."""
    opening: dict[str, Length] = Field(default_factory=dict)
    """Mean inner radius at one section, { middle = "6 mm" }; the loads of the stage are scaled."""
    arc: Length | None = None
    """Length of path to follow, as root mean square motion; ends early where the loads are reached."""
    backward: bool = False
    """Start with falling loads (arc only)."""
    control: Annotated[str, Choice(CONTROLS)] = "load"
    """What drives the stage, also beyond a maximum of its loads; a target implies its control."""
    steps: Whole = 10
    """Number of equal steps; they are halved where the solution is hard to follow."""


def _number_or_text(value: Any) -> Any:
    if isinstance(value, str | int | float) and not isinstance(value, bool):
        return value
    raise ValueError("must be a text with a unit, such as '0.8 MPa', a number or a percentage such as '12 %'")


Limit = Annotated[float | str, BeforeValidator(_number_or_text, json_schema_input_type=float | str)]


class RequirementTable(Table):
    """A limit on a reported quantity; the report gives a verdict on each."""

    quantity: str
    """Name of a reported quantity, for example "breakdown margin"."""
    at_least: Limit | None = None
    """Lower limit with its unit, for example "15 %"."""
    at_most: Limit | None = None
    """Upper limit with its unit, for example "0.8 MPa"."""
    stage: str | None = None
    """Judge at the end of this stage; left out: at the last state of the run."""


class PathTable(Table):
    """How the path of equilibria is followed."""

    smallest_step: Number = 1e-4
    """Smallest step, as a fraction of the stage; below it the run ends."""
    beyond_instability: Annotated[str, Choice(BEYOND)] = "stop"
    """Where stability is lost: "stop" ends the run, "follow" continues along unstable states, "jump" moves to
    the next stable state, "branch" follows the buckled branch."""
    seek_limit: Number | None = None
    """From the last state on, search for the next critical point up to this multiple of each load."""


class OutputTable(Table):
    """What is written in addition to the tables."""

    fields: Literal["all", "stage ends", "none"] = "all"
    """States whose fields are written for 3-D viewers."""
    units: dict[str, tuple[str, ...]] = Field(default_factory=dict)
    """Units in reports by kind of number, { pressure = ["kPa"] }; left out: those that the case uses."""
