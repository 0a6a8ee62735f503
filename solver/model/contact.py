# SPDX-License-Identifier: MIT
"""Rigid obstacles that a surface of the part may touch."""

import math
from dataclasses import dataclass

from annelid.geometry.checks import one_of, within
from annelid.geometry.errors import checking

KINDS = ("cylinder", "cone", "sphere", "plane", "side")
SIDES = ("outside", "inside")


@dataclass(frozen=True)
class Contact:
    """A surface of the part that may touch a rigid obstacle.

    Attributes:
        name: Name of the obstacle.
        surface: Outer surface of the body.
        kind: ``"cylinder"`` around the axis, ``"cone"`` around it, ``"sphere"`` centred on it, ``"plane"``
            across it, or ``"side"`` (a plane that holds the axis, for lumen closure in three dimensions).
        position: Radius of cylinder or sphere, radius of a cone at ``height``, height of a plane, distance of
            a side plane from the axis, mm; stages may move it.
        part_is: ``"outside"`` (the part surrounds a core; above a plane) or ``"inside"`` (within a tube or
            shell; below a plane).
        height: Centre of a sphere, or where a cone has its radius, mm.
        angle: Half angle of a cone, degrees, positive if it widens with Z; direction of a side plane's normal
            from the X axis, degrees.
        tolerance: Penetration at a contact pressure equal to the shear modulus, mm.

    Raises:
        InvalidValue: Unknown kind or side, or a value out of range.
    """

    name: str
    surface: str
    kind: str = "cylinder"
    position: float = 0.0
    part_is: str = "outside"
    height: float = 0.0
    angle: float = 0.0
    tolerance: float = 0.002

    def __post_init__(self) -> None:
        with checking(f"contact '{self.name}'"):
            one_of("kind", self.kind, KINDS)
            one_of("part_is", self.part_is, SIDES)
            within("tolerance", self.tolerance, above=0.0, unit="mm")
            if self.has_radius:
                within("radius", self.position, least=0.0, unit="mm")
            if self.kind == "cone":
                within("angle", self.angle, least=-80.0, most=80.0, unit="deg")

    @property
    def has_radius(self) -> bool:
        """Whether the position is a radius, which cannot be negative."""
        return self.kind in ("cylinder", "cone", "sphere")

    @property
    def place(self) -> tuple[float, ...]:
        """Numbers of the gap beside the position: height, cos and sin of the angle, 1 outside, -1 inside."""
        angle = math.radians(self.angle)
        return self.height, math.cos(angle), math.sin(angle), 1.0 if self.part_is == "outside" else -1.0
