# SPDX-License-Identifier: MIT
"""Electrodes, supports, stages and requirements as a case file writes them."""

from typing import Annotated, Any, Literal

from pydantic import BeforeValidator, Field

from annelid.cases.schema.base import (
    BedStiffness,
    Charge,
    Count,
    Force,
    Length,
    Multiple,
    Name,
    Position,
    Pressure,
    Step,
    Table,
    Voltage,
    Volume,
)


class Electrics(Table):
    """How the electric field is found."""

    model: Literal["layered", "solved"] = "layered"
    """"layered": voltage over sheet thickness, along the normal. "solved": the potential is an unknown."""


class Electrode(Table):
    """A ring electrode: a band of one layer between two heights."""

    name: Name
    """Name of the electrode, for stages and quantities."""
    region: Name
    """The layer it lies in."""
    start: Annotated[Position | None, Field(alias="from")] = None
    """Lower edge along the axis; left out: the lower end of the layer."""
    end: Annotated[Position | None, Field(alias="to")] = None
    """Upper edge along the axis; left out: the upper end of the layer."""
    hot_face: Literal["outer", "inner"] = "outer"
    """Face that carries the voltage when the potential is solved; the other is grounded."""


class Support(Table):
    """How a surface is held; surfaces without a support are free."""

    region: str
    """Surface, for example "end_low"."""
    hold: Literal["all", "axial", "radial", "symmetric", "plate", "plate all", "floating", "free"]
    """"all": clamped; "axial": slides in its plane; "radial": keeps its radius; "symmetric": no motion across
    its plane; "plate": stays plane and moves along the axis; "plate all": the same with the radius held;
    "floating": kept from drifting and turning, as far as nothing else does, without a force; "free": an open
    end of the lumen is meant to be free, so that pressure acts on the wall alone."""


class TissueBed(Table):
    """Elastic surroundings that resist the motion of a surface."""

    region: str
    """Surface, for example "outer"."""
    stiffness: BedStiffness
    """Pressure per displacement, for example "2 kPa/mm"."""
    direction: Literal["normal", "all"] = "normal"
    """Whether only motion across the surface is resisted, or all."""


class Section(Table):
    """A named height at which the radius is reported."""

    name: Name
    """Name, as in the quantity "radial expansion NAME"."""
    at: Position
    """Height along the axis as drawn."""


def _all_electrodes(value: Any) -> Any:
    return {"all": value} if isinstance(value, str | int | float) else value


Voltages = Annotated[
    dict[str, Voltage],
    BeforeValidator(_all_electrodes, json_schema_input_type=dict[str, Voltage] | Voltage),
]


class PointMotion(Table):
    """A motion asked of one point of the part."""

    at: Annotated[tuple[Position, ...], Field(min_length=2, max_length=3)]
    """Where the point is drawn: radius and height, or X, Y and Z in 3-D models."""
    direction: Literal["radial", "axial", "x", "y", "z"] = "axial"
    """Direction of the motion; "x", "y" and "z" in 3-D models."""
    motion: Position
    """Displacement to reach, for example "-3 mm"."""


CONTROLS = {
    "volume": "volume",
    "charge": "charge",
    "displacement": "point",
    "opening": "opening",
    "arc": "arc",
}
"""The key that gives the target of each control but "load"."""


class Stage(Table):
    """A change of loads from their present values to the given ones; what is left out stays as it is."""

    name: Annotated[str, Field(pattern=r"^\S(.*\S)?$", max_length=60)] = ""
    """Name of the stage; left out: "stage 1", "stage 2" and so on."""
    pressure: Pressure | None = None
    """Pressure in the lumen over the outside, for example "40 mmHg"."""
    voltage: Voltages = Field(default_factory=dict)
    """Voltage of each electrode, { ring_1 = "3 kV" }; one text or the key "all" means every electrode."""
    force: dict[str, Force] = Field(default_factory=dict)
    """Axial dead force on end surfaces, { end_high = "0.5 N" }; positive along the axis, upwards."""
    move: dict[str, Position] = Field(default_factory=dict)
    """Axial displacement of supported end surfaces, { end_high = "3 mm" }."""
    obstacle: dict[str, Position] = Field(default_factory=dict)
    """Radius, height or distance of obstacles, { mandrel = "4.5 mm" }."""
    volume: Volume | None = None
    """Volume enclosed by the lumen, for example "40 mL"; the pressure follows."""
    charge: dict[str, Charge] = Field(default_factory=dict)
    """Charge on electrodes, { ring_1 = "0.3 uC" }; several share one voltage, which follows."""
    point: PointMotion | None = None
    """Motion of one point; the loads of the stage are scaled to it."""
    opening: dict[str, Length] = Field(default_factory=dict)
    """Mean inner radius at one section, { middle = "6 mm" }; the loads of the stage are scaled to it."""
    arc: Length | None = None
    """Length of path to follow, as root mean square motion; ends early where the loads are met."""
    backward: bool = False
    """Set out against the loads of the stage (arc only)."""
    control: Literal["load", "volume", "charge", "displacement", "opening", "arc"] = "load"
    """What drives the stage, past a maximum of its loads too; a target implies its control."""
    steps: Count = 10
    """Wanted number of steps; they are halved and grown as the solution needs."""


def _number_or_text(value: Any) -> Any:
    if isinstance(value, str | int | float) and not isinstance(value, bool):
        return value
    raise ValueError("must be a text with a unit, such as '0.8 MPa', a number or a percentage such as '12 %'")


Limit = Annotated[float | str, BeforeValidator(_number_or_text, json_schema_input_type=float | str)]


class Requirement(Table):
    """A limit on a reported quantity; the report gives a verdict on each."""

    quantity: str
    """Name of a reported quantity, for example "breakdown margin"."""
    at_least: Limit | None = None
    """Lower limit with its unit, for example "15 %"."""
    at_most: Limit | None = None
    """Upper limit with its unit, for example "0.8 MPa"."""
    stage: str | None = None
    """Judge at the end of this stage; left out: at the last state of the run."""


class Path(Table):
    """How the path of equilibria is followed."""

    smallest_step: Step = 1e-4
    """Step below which the search for an equilibrium is given up, as a part of the stage."""
    beyond_instability: Literal["stop", "follow", "jump", "branch"] = "stop"
    """Where stability is lost: end the path, go on along unstable states, jump to the next stable one, or
    turn onto the buckled branch."""
    seek_limit: Multiple | None = None
    """From the last state on, look for the next critical point as each load grows up to this multiple."""


class Output(Table):
    """What is written beside the tables."""

    fields: Literal["all", "stage ends", "none"] = "all"
    """States whose fields are written for 3-D viewers."""
