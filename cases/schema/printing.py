# SPDX-License-Identifier: MIT
"""Table of the printing of a lattice."""

from typing import Annotated

from annelid.cases.schema.base import Acceleration, Angle, Choice, Length, Table
from annelid.cases.schema.units import Unit
from annelid.geometry.printing.machines import MACHINES

Speed = Annotated[float, Unit("mm/s", "a speed", "8 mm/s")]
TurnSpeed = Annotated[float, Unit("deg/s", "a turning speed", "180 deg/s")]
TurnAcceleration = Annotated[float, Unit("deg/s2", "a turning acceleration", "1000 deg/s2")]


class PrintingTable(Table):
    """How the lattice is printed."""

    machine: Annotated[str, Choice(tuple(MACHINES))] = "rotary"
    """"rotary": the part turns under a nozzle that points at its axis; "five-axis": the nozzle also tilts."""
    nozzle: Length = 0.4
    """Width of a printed line; the width of struts is rounded to a whole number of lines."""
    layer: Length = 0.2
    """Thickness of a printed layer; the height of struts is rounded to a whole number of layers."""
    stand_off: Length = 0.2
    """Distance of the nozzle from the surface on which it prints."""
    feed: Speed = 8.0
    """Speed of the nozzle over the surface while it prints."""
    travel: Speed = 30.0
    """Speed of the nozzle between lines."""
    clearance: Length = 5.0
    """Height of the nozzle above the surface while it travels."""
    hop: Length = 0.0
    """Length of travel up to which the closed nozzle is not lifted."""
    tolerance: Length = 0.01
    """Largest distance of the tool path from the exact line."""
    acceleration: Acceleration = 500.0
    """Largest acceleration of the linear axes, for the estimated time."""
    corner: Speed = 5.0
    """Largest sudden change of the speed of a linear axis."""
    turn_speed: TurnSpeed = 180.0
    """Largest speed of the turning axes; the nozzle prints more slowly where they would exceed it."""
    turn_acceleration: TurnAcceleration = 1000.0
    """Largest acceleration of the turning axes."""
    turn_corner: TurnSpeed = 10.0
    """Largest sudden change of the speed of a turning axis."""
    tip: Length = 0.6
    """Outer diameter of the flat tip of the nozzle, for the check for collisions."""
    cone_angle: Angle = 10.0
    """Angle of the side of the nozzle from its axis."""
    cone_length: Length = 30.0
    """Length of the cone of the nozzle."""
    body: Length = 12.0
    """Diameter of the nozzle above the cone."""
