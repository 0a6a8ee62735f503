# SPDX-License-Identifier: MIT
"""Rigid obstacles that a surface may touch, as a case file writes them."""

from typing import Annotated, Literal

from pydantic import Field

from annelid.cases.schema.base import Angle, Choice, Length, Name, Table
from annelid.solver.model.contact import SIDES

__all__ = ["ContactTable", "position_of"]


class _ObstacleTable(Table):
    name: Name
    """Name of the obstacle, for stages and quantities."""
    surface: str
    """Surface of the part that may touch it, for example "lumen"."""
    tolerance: Length = 0.002
    """Penetration of the surface under a pressure as large as the shear modulus."""


class CylinderTable(_ObstacleTable):
    """A round bar or bore around the axis."""

    kind: Literal["cylinder"]
    """A cylinder around the axis; a thin one is the catheter or plug on which a lumen shuts."""
    radius: Length
    """Radius; stages can change it."""
    part_is: Annotated[str, Choice(SIDES)] = "outside"
    """Whether the part is outside or inside the obstacle."""


class ConeTable(_ObstacleTable):
    """A cone around the axis."""

    kind: Literal["cone"]
    """A cone around the axis."""
    radius: Length
    """Radius at the given height; stages can change it."""
    height: Length = 0.0
    """Height at which the cone has this radius."""
    angle: Angle
    """Half angle; positive if the cone widens along the axis."""
    part_is: Annotated[str, Choice(SIDES)] = "outside"
    """Whether the part is outside or inside the obstacle."""


class SphereTable(_ObstacleTable):
    """A ball or a bowl centred on the axis."""

    kind: Literal["sphere"]
    """A sphere centred on the axis."""
    radius: Length
    """Radius; stages can change it."""
    height: Length
    """Height of the centre."""
    part_is: Annotated[str, Choice(SIDES)] = "outside"
    """Whether the part is outside or inside the obstacle."""


class PlaneTable(_ObstacleTable):
    """A plane across the axis."""

    kind: Literal["plane"]
    """A plane across the axis."""
    height: Length
    """Height; stages can change it."""
    part_is: Annotated[str, Choice(SIDES)] = "outside"
    """"outside": the part is above the plane; "inside": below it."""


class SideTable(_ObstacleTable):
    """A plane along the axis against which a lumen closes in 3-D models."""

    kind: Literal["side"]
    """A plane along the axis."""
    distance: Length = 0.0
    """Distance from the axis; stages can change it."""
    angle: Angle = 0.0
    """Angle of the normal, which points towards the part, from the X axis."""


ContactTable = Annotated[
    CylinderTable | ConeTable | SphereTable | PlaneTable | SideTable, Field(discriminator="kind")
]


def position_of(contact: CylinderTable | ConeTable | SphereTable | PlaneTable | SideTable) -> float:
    """Return the length that stages can change: radius, height or distance, mm."""
    if isinstance(contact, PlaneTable):
        return contact.height
    return contact.distance if isinstance(contact, SideTable) else contact.radius
