# SPDX-License-Identifier: MIT
"""How a lattice is printed, as a case file writes it."""

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
    """"rotary": the part turns under a nozzle that points at its axis; "five-axis": the nozzle tilts, too."""
    nozzle: Length = 0.4
    """Width of the printed line; struts are as many lines wide as come nearest."""
    layer: Length = 0.2
    """Thickness of a printed layer; struts are as many layers high as come nearest."""
    stand_off: Length = 0.2
    """Distance of the nozzle from the surface it prints on."""
    feed: Speed = 8.0
    """Speed of the nozzle over the surface while it prints."""
    travel: Speed = 30.0
    """Speed of the nozzle between lines."""
    clearance: Length = 5.0
    """Height over the surface at which the nozzle travels."""
    hop: Length = 0.0
    """Longest travel to the next line during which the closed nozzle is not lifted."""
    tolerance: Length = 0.01
    """Largest distance of the tool path from the exact line."""
    acceleration: Acceleration = 500.0
    """Largest acceleration of the linear axes, for the estimate of the time."""
    corner: Speed = 5.0
    """Largest sudden change of a linear axis's speed."""
    turn_speed: TurnSpeed = 180.0
    """Largest speed of the turning axes; printed lines are slowed down to it."""
    turn_acceleration: TurnAcceleration = 1000.0
    """Largest acceleration of the turning axes."""
    turn_corner: TurnSpeed = 10.0
    """Largest sudden change of a turning axis's speed."""
    tip: Length = 0.6
    """Outer diameter of the nozzle's flat tip, for the search for collisions."""
    cone_angle: Angle = 10.0
    """Angle of the nozzle's side from its axis."""
    cone_length: Length = 30.0
    """Length of the nozzle's cone."""
    body: Length = 12.0
    """Diameter of the nozzle above the cone."""
