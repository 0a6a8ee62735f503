# SPDX-License-Identifier: MIT
"""Settings of a printer: machine, nozzle, speeds, and what its axes can do."""

from dataclasses import dataclass

from annelid.geometry.checks import within
from annelid.geometry.errors import InputError
from annelid.geometry.printing.machines import MACHINES

_LENGTHS = ("nozzle", "layer", "clearance", "tolerance")
_RATES = {
    "feed": "mm/s",
    "travel": "mm/s",
    "acceleration": "mm/s2",
    "corner": "mm/s",
    "turn_speed": "deg/s",
    "turn_acceleration": "deg/s2",
    "turn_corner": "deg/s",
}


@dataclass(frozen=True)
class Printing:
    """How a lattice is printed. Speeds and accelerations of axes are those of small machines, as is common.

    Attributes:
        machine: ``"rotary"`` or ``"five-axis"``.
        nozzle: Width of a printed line, mm.
        layer: Thickness of a layer, mm; a whole number of layers as thick as comes nearest is printed.
        stand_off: Distance of the nozzle from the surface it prints on, mm.
        feed: Speed over the surface while printing, mm/s.
        travel: Speed between printed lines, mm/s; no linear axis is faster than the larger of both.
        clearance: Height over the printed lattice at which the nozzle travels, mm.
        hop: Ways to the next line of the layer no longer than this are gone without lifting the nozzle, mm.
        tolerance: Largest distance of the path from the line it stands for, mm.
        acceleration: Largest acceleration of the linear axes, mm/s².
        corner: Largest sudden change of a linear axis's speed, mm/s.
        turn_speed: Largest speed of the turning axes, deg/s.
        turn_acceleration: Their largest acceleration, deg/s².
        turn_corner: Largest sudden change of their speed, deg/s.
        tip: Outer diameter of the nozzle's flat tip, mm.
        cone_angle: Angle of the nozzle's side from its axis, degrees.
        cone_length: Length of its cone, mm.
        body: Diameter of what is above the cone, mm.

    Raises:
        InputError: If a number is outside its range or the machine unknown.
    """

    machine: str = "rotary"
    nozzle: float = 0.4
    layer: float = 0.2
    stand_off: float = 0.2
    feed: float = 8.0
    travel: float = 30.0
    clearance: float = 5.0
    hop: float = 0.0
    tolerance: float = 0.01
    acceleration: float = 500.0
    corner: float = 5.0
    turn_speed: float = 180.0
    turn_acceleration: float = 1000.0
    turn_corner: float = 10.0
    tip: float = 0.6
    cone_angle: float = 10.0
    cone_length: float = 30.0
    body: float = 12.0

    def __post_init__(self) -> None:
        if self.machine not in MACHINES:
            raise InputError(f"printing.machine = {self.machine!r}: choose one of {', '.join(MACHINES)}")
        for name in _LENGTHS:
            within(f"printing.{name}", getattr(self, name), above=0.0, unit="mm")
        for name in ("stand_off", "hop"):
            within(f"printing.{name}", getattr(self, name), least=0.0, unit="mm")
        for name, unit in _RATES.items():
            within(f"printing.{name}", getattr(self, name), above=0.0, unit=unit)
