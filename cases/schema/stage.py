# SPDX-License-Identifier: MIT
"""Tables of electrodes, supports, stages and requirements."""

from typing import Annotated, Any, Literal

from pydantic import BeforeValidator, Field

from annelid.cases.schema.base import (
    Acceleration,
    Angle,
    Choice,
    Density,
    Duration,
    ElectricCharge,
    Force,
    FoundationStiffness,
    Length,
    Limit,
    Name,
    Number,
    Pressure,
    Table,
    Torque,
    Voltage,
    Volume,
    Whole,
)
from annelid.cases.schema.wave import WaveTable
from annelid.geometry.shapes.band import HANDS
from annelid.solver.model.boundary import DIRECTIONS, HOLDS, HOT_FACES
from annelid.solver.model.model import ELECTRICS
from annelid.solver.model.stages import CONTROLS
from annelid.solver.model.stepping import BEYOND, JUDGED_STATES, STAGE_ENDS


class ElectricsTable(Table):
    """How the electric field is computed."""

    model: Annotated[str, Choice(ELECTRICS)] = "layered"
    """"layered": voltage over sheet thickness, along the normal; "solved": the potential is an unknown."""


class HelixTable(Table):
    """How an electrode winds up around the axis."""

    pitch: Length
    """Rise in one turn."""
    width: Length
    """Width along the axis, less than the pitch."""
    start_angle: Angle = 0.0
    """Angle of the centre line at the lower edge of the electrode, from the X axis towards the Y axis."""
    hand: Annotated[str, Choice(HANDS)] = "right"
    """"right": turns from x to y while it rises, as an ordinary screw thread does; or "left"."""


class ElectrodeTable(Table):
    """An electrode: a band of one layer between two heights, all around unless it has angles or a helix."""

    name: Name
    """Name; stages and quantities refer to it."""
    region: Name
    """The layer that contains the electrode."""
    start: Annotated[Length | None, Field(alias="from")] = None
    """Lower edge along the axis; default: the lower end of the layer."""
    end: Annotated[Length | None, Field(alias="to")] = None
    """Upper edge along the axis; default: the upper end of the layer."""
    angles: tuple[Angle, Angle] | None = None
    """First and last angle about the axis, from the X axis towards the Y axis, ["-30 deg", "30 deg"]; only in
    3-D models. Default: all around."""
    helix: HelixTable | None = None
    """How the electrode winds up, { pitch = "20 mm", width = "4 mm" }; only in solid models. Default: it does
    not."""
    hot_face: Annotated[str, Choice(HOT_FACES)] = "outer"
    """Face that carries the voltage when the potential is solved; the other is grounded."""


class SupportTable(Table):
    """A support of a surface; surfaces without a support are free."""

    region: str
    """Surface, for example "end_low"."""
    hold: Annotated[str, Choice(HOLDS)]
    """"all": clamped; "axial": slides in its plane; "axial twist": the same without turning about the axis
    (axisymmetric models); "radial": keeps its radius; "symmetric": no motion across
    its plane; "plate": stays plane and moves along the axis; "plate all": the same, with a fixed radius;
    "rigid motion": single nodes are fixed against the rigid motions that no other support prevents, which
    needs no force under balanced loads; "free": a free open end of the lumen, where the pressure acts only on
    the wall."""


class FoundationTable(Table):
    """An elastic foundation that resists the motion of a surface, such as surrounding tissue."""

    region: str
    """Surface, for example "outer"."""
    stiffness: FoundationStiffness
    """Pressure per displacement, for example "2 kPa/mm"."""
    direction: Annotated[str, Choice(DIRECTIONS)] = "normal"
    """Whether the foundation resists only motion normal to the surface, or all motion."""


class SurroundingsTable(Table):
    """What surrounds the part."""

    fluid_density: Density | None = None
    """Density of a fluid inside and around the part; its buoyancy reduces the weight of the part."""


class SectionTable(Table):
    """A named height at which the radius is reported."""

    name: Name
    """Name, as in the quantity "radial expansion NAME"."""
    at: Length
    """Drawn height along the axis."""


def _all_electrodes(value: Any) -> Any:
    return {"all": value} if isinstance(value, str | int | float) else value


Voltages = Annotated[
    dict[str, Voltage],
    BeforeValidator(_all_electrodes, json_schema_input_type=dict[str, Voltage] | Voltage),
]


class PointMotionTable(Table):
    """Motion of a point of the part."""

    at: Annotated[tuple[Length, ...], Field(min_length=2, max_length=3)]
    """Drawn position of the point: radius and height, or X, Y and Z in 3-D models."""
    direction: Literal["radial", "axial", "x", "y", "z"] = "axial"
    """Direction of the motion; "x", "y" and "z" in 3-D models."""
    motion: Length
    """Displacement to reach, for example "-3 mm"."""


BOUNDS = ("at_least", "at_most")
"""Keys of the bounds of a limit."""


class LimitTable(Table):
    """A limit on a reported quantity."""

    quantity: str
    """Name of a reported quantity, for example "breakdown margin"."""
    at_least: Limit | None = None
    """Lower limit with its unit, for example "15 %"."""
    at_most: Limit | None = None
    """Upper limit with its unit, for example "0.8 MPa"."""


class EndTable(LimitTable):
    """A limit of a quantity at which a stage ends."""


class StageTable(Table):
    """A change of loads from their present values to the given ones; other loads stay constant."""

    name: Annotated[str, Field(pattern=r"^\S(.*\S)?$", max_length=60)] = ""
    """Name of the stage; default: "stage 1", "stage 2" and so on."""
    pressure: Pressure | None = None
    """Pressure in the lumen relative to the outside, for example "40 mmHg"."""
    surface_pressure: dict[str, Pressure] = Field(default_factory=dict)
    """Pressure on other surfaces, { outer = "5 kPa" }; positive towards the material, it follows them."""
    voltage: Voltages = Field(default_factory=dict)
    """Voltage of each electrode, { ring_1 = "3 kV" }; one text or the key "all" sets every electrode."""
    force: dict[str, Force] = Field(default_factory=dict)
    """Axial dead force on surfaces, { end_high = "0.5 N" }; positive along +Z."""
    radial_force: dict[str, Force] = Field(default_factory=dict)
    """Radial dead force on surfaces, summed around the whole part, { end_high = "2 N" }; positive away from
    the axis."""
    move: dict[str, Length] = Field(default_factory=dict)
    """Axial displacement of supported end surfaces, { end_high = "3 mm" }."""
    torque: dict[str, Torque] = Field(default_factory=dict)
    """Dead torque about the axis on end surfaces, { end_high = "20 N mm" }; positive from x to y."""
    twist: dict[str, Angle] = Field(default_factory=dict)
    """Rotation about the axis of surfaces whose support holds it, { end_high = "90 deg" }."""
    obstacle: dict[str, Length] = Field(default_factory=dict)
    """Radius, height or distance of obstacles, { mandrel = "4.5 mm" }."""
    gravity: dict[str, Acceleration] = Field(default_factory=dict)
    """Acceleration of gravity, { axial = "-9.81 m/s2" }; in 3-D models also along x and y. Every material
    needs a density."""
    volume: Volume | None = None
    """Volume enclosed by the lumen, for example "40 mL"; the pressure follows."""
    charge: dict[str, ElectricCharge] = Field(default_factory=dict)
    """Charge on electrodes, { ring_1 = "0.3 uC" }; several electrodes share one voltage, which follows."""
    point: PointMotionTable | None = None
    """Motion of a point; the loads of the stage are scaled to reach it."""
    opening: dict[str, Length] = Field(default_factory=dict)
    """Mean inner radius at a section, { middle = "6 mm" }; the loads of the stage are scaled to reach it."""
    arc: Length | None = None
    """Length of the path, as root mean square motion; the stage ends early if its loads are reached."""
    backward: bool = False
    """Whether the path starts with decreasing loads; only with arc."""
    control: Annotated[str, Choice(CONTROLS)] = "load"
    """What drives the stage; all but "load" can pass a maximum of the loads. A target implies its control."""
    duration: Duration | None = None
    """Time that the stage takes, for example "3 s"; default: until its waves have passed, or no time."""
    waves: tuple[WaveTable, ...] = ()
    """Loads that follow waves in time."""
    steps: Whole | None = None
    """Number of equal steps; they are halved where necessary. Default: 10, or 32 for each period of waves or
    of a circuit that beats."""
    steps_per_period: Whole | None = None
    """Number of equal steps for each period of the waves, and in a flow stage of what changes in the circuit
    or at the ends of the fluid, instead of steps."""
    until: tuple[EndTable, ...] = ()
    """Limits of quantities; the stage ends at the first one that is reached, even before its loads are."""
    until_tolerance: Number | None = None
    """Largest distance of the end of the stage from the limit, as a fraction of the limit; default: 0.001."""


class RequirementTable(LimitTable):
    """A limit on a reported quantity; the report states whether it is met."""

    stage: str | None = None
    """Stage at whose end the limit must be met; default: the last state, if all loads were reached."""


class SteppingTable(Table):
    """How the path of equilibria is followed."""

    smallest_step: Number = 1e-4
    """Smallest step, as a fraction of the stage; below it the run ends."""
    tolerance: Annotated[float, Field(ge=1e-11, le=1e-6)] | None = None
    """Out-of-balance force over the forces at play, below which a state is converged; default: 1e-8."""
    beyond_instability: Annotated[str, Choice(BEYOND)] = "stop"
    """Where stability is lost: "stop" ends the run there, "follow" continues along unstable states, "jump"
    moves to the next stable state, "branch" follows the buckled branch."""
    self_crossing: bool = False
    """Whether the run goes on where walls of the part pass through each other, instead of ending there."""
    seek_limit: Number | None = None
    """Search for what limits each load, from the last state under load up to this multiple of it; 1 does not
    search. Default: 2 in axisymmetric models, 1 in 3-D models and in the runs of studies."""
    harmonics: Annotated[str, Choice(JUDGED_STATES)] = STAGE_ENDS
    """States of an axisymmetric model that are judged against waves around the axis (bending sideways, lobes,
    folds): "stage ends" with critical points and where the wall is compressed, "all", or "none"."""


class OutputTable(Table):
    """What is written in addition to the tables."""

    fields: Literal["all", "stage ends", "none"] = "all"
    """States whose fields are written for 3-D viewers."""
    units: dict[str, tuple[str, ...]] = Field(default_factory=dict)
    """Units in reports by kind of quantity, { pressure = ["kPa"] }; default: those used most."""
