# SPDX-License-Identifier: MIT
"""Stages: the loads to move to, and what holds the way there."""

from collections.abc import Mapping
from dataclasses import dataclass, field

from annelid.geometry.errors import InputError

CONTROLS = ("load", "volume", "charge", "displacement", "opening", "arc")


@dataclass(frozen=True)
class PointMotion:
    """Motion asked of one point: the node nearest to a drawn position.

    Attributes:
        position: Drawn position, (R, Z) or (X, Y, Z), mm.
        component: 0-based component of the displacement; the last one is axial.
        motion: Displacement to reach, mm.
    """

    position: tuple[float, ...]
    component: int
    motion: float


@dataclass(frozen=True)
class Stage:
    """Moves loads from their present values to targets; what is not named stays as it is.

    Attributes:
        name: For the path table.
        pressure: Lumen pressure, MPa.
        voltages: kV by electrode.
        forces: Axial force along +Z by surface, N.
        displacements: Axial motion of a support, mm.
        obstacles: Position of obstacles by contact name, mm.
        volume: Enclosed volume of the lumen, mm³ (``control="volume"``; the pressure is found).
        charges: Charge by electrode, uC (``control="charge"``; the electrodes named share one voltage, which
            is found, and their charges are added).
        point: Motion of a point (``control="displacement"``; the loads of the stage are scaled to it).
        opening: Section and mean inner radius, mm (``control="opening"``; the loads are scaled to it).
        arc: Length of path to follow, as root mean square motion, mm (``control="arc"``; the loads of the
            stage say in which proportion they move; the stage also ends where they are reached).
        backward: Under arc control, set out with falling loads.
        control: One of ``CONTROLS``.
        steps: Number of equal steps wanted; they are halved where the solution is hard to follow.

    Raises:
        InputError: Unknown control, no steps, or a control without its target (or the reverse).
    """

    name: str
    pressure: float | None = None
    voltages: Mapping[str, float] = field(default_factory=dict)
    forces: Mapping[str, float] = field(default_factory=dict)
    displacements: Mapping[str, float] = field(default_factory=dict)
    obstacles: Mapping[str, float] = field(default_factory=dict)
    volume: float | None = None
    charges: Mapping[str, float] = field(default_factory=dict)
    point: PointMotion | None = None
    opening: tuple[str, float] | None = None
    arc: float | None = None
    backward: bool = False
    control: str = "load"
    steps: int = 10

    def __post_init__(self) -> None:
        if self.control not in CONTROLS:
            raise InputError(
                f"stage '{self.name}': control = '{self.control}' is not one of: {', '.join(CONTROLS)}",
                key="control",
            )
        if self.steps < 1:
            raise InputError(f"stage '{self.name}': steps is {self.steps}; it must be 1 or more", key="steps")
        targets = {
            "volume": self.volume is not None,
            "charge": bool(self.charges),
            "displacement": self.point is not None,
            "opening": self.opening is not None,
            "arc": self.arc is not None,
        }
        for control, given in targets.items():
            if given != (self.control == control):
                raise InputError(
                    f"stage '{self.name}': control = '{control}' and its target ({_TARGETS[control]}) go "
                    f"together; give both or neither",
                    key=_TARGETS[control],
                )
        self._check_found()

    def _check_found(self) -> None:
        """A load that the control finds is not given as well; one that scales loads needs some."""
        if self.control == "volume" and self.pressure is not None:
            raise InputError(
                f"stage '{self.name}': under volume control the pressure is found; leave it out",
                key="pressure",
            )
        both = [name for name in self.charges if name in self.voltages]
        if both:
            raise InputError(
                f"stage '{self.name}': under charge control the voltage of '{both[0]}' is found; leave it "
                f"out",
                key="voltage",
            )
        if self.control in ("displacement", "opening", "arc") and not self.moves_loads:
            raise InputError(
                f"stage '{self.name}': control = '{self.control}' scales the loads of the stage; name at "
                f"least one (pressure, voltage, force or move)",
                key="control",
            )
        if self.arc is not None and not self.arc > 0:
            raise InputError(f"stage '{self.name}': arc is {self.arc} mm; it must be positive", key="arc")

    @property
    def moves_loads(self) -> bool:
        """Whether the stage names a load to move."""
        named = self.voltages or self.forces or self.displacements or self.obstacles
        return self.pressure is not None or bool(named)


_TARGETS = {
    "volume": "volume",
    "charge": "charge",
    "displacement": "point",
    "opening": "opening",
    "arc": "arc",
}
