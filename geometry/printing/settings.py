# SPDX-License-Identifier: MIT
"""Settings of a printer: machine, nozzle, speeds and limits of its axes."""

from dataclasses import dataclass

from annelid.geometry.checks import one_of, within
from annelid.geometry.errors import checking
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
class PrinterSettings:
    """Settings of a printer; the default speeds and accelerations are typical of small machines.

    Attributes:
        machine: ``"rotary"`` or ``"five-axis"``.
        nozzle: Width of a printed line, mm.
        layer: Target thickness of a layer, mm; the number of layers is rounded.
        stand_off: Distance of the nozzle from the surface on which it prints, mm.
        feed: Speed over the surface while printing, mm/s.
        travel: Speed between printed lines, mm/s; the larger of ``feed`` and ``travel`` limits the linear
            axes.
        clearance: Height over the printed lattice at which the nozzle travels, mm.
        hop: Largest distance to the next line in the same layer that is travelled without a lift, mm.
        tolerance: Largest deviation of the path from its line, mm.
        acceleration: Largest acceleration of the linear axes, mm/s².
        corner: Largest sudden change of the speed of a linear axis, mm/s.
        turn_speed: Largest speed of the rotary axes, deg/s.
        turn_acceleration: Largest acceleration of the rotary axes, deg/s².
        turn_corner: Largest sudden change of the speed of a rotary axis, deg/s.
        tip: Outer diameter of the flat tip of the nozzle, mm.
        cone_angle: Angle between the side of the nozzle and its axis, degrees.
        cone_length: Length of the cone of the nozzle, mm.
        body: Diameter of the nozzle above its cone, mm.

    Raises:
        InputError: If a number is outside its range or the machine is unknown.
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
        with checking("printing"):
            one_of("machine", self.machine, tuple(MACHINES))
            for name in _LENGTHS:
                within(name, getattr(self, name), above=0.0, unit="mm")
            for name in ("stand_off", "hop"):
                within(name, getattr(self, name), least=0.0, unit="mm")
            for name, unit in _RATES.items():
                within(name, getattr(self, name), above=0.0, unit=unit)
            within("cone_angle", self.cone_angle, least=0.0, below=80.0, unit="deg")
            within("body", self.body, least=self.tip, unit="mm", why="the tip")
