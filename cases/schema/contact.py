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
    """How deep the surface sinks in under a pressure as large as the shear modulus."""


class CylinderTable(_ObstacleTable):
    """A round bar or bore around the axis."""

    kind: Literal["cylinder"]
    """A cylinder around the axis; of radius "0 mm": the closing lumen of an axisymmetric model."""
    radius: Length
    """Its radius; stages may move it."""
    part_is: Annotated[str, Choice(SIDES)] = "outside"
    """Whether the part lies around it or within it."""


class ConeTable(_ObstacleTable):
    """A cone around the axis."""

    kind: Literal["cone"]
    """A cone around the axis."""
    radius: Length
    """Its radius at the height; stages may move it."""
    height: Length = 0.0
    """Where it has this radius."""
    angle: Angle
    """Half angle; positive where it widens along the axis."""
    part_is: Annotated[str, Choice(SIDES)] = "outside"
    """Whether the part lies around it or within it."""


class SphereTable(_ObstacleTable):
    """A ball or a bowl centred on the axis."""

    kind: Literal["sphere"]
    """A sphere centred on the axis."""
    radius: Length
    """Its radius; stages may move it."""
    height: Length
    """Height of its centre."""
    part_is: Annotated[str, Choice(SIDES)] = "outside"
    """Whether the part lies around it or within it."""


class PlaneTable(_ObstacleTable):
    """A plate across the axis."""

    kind: Literal["plane"]
    """A plane across the axis."""
    height: Length
    """Its height; stages may move it."""
    part_is: Annotated[str, Choice(SIDES)] = "outside"
    """"outside": the part lies above it; "inside": below."""


class SideTable(_ObstacleTable):
    """A plane along the axis, against which a lumen closes in 3-D models."""

    kind: Literal["side"]
    """A plane along the axis."""
    distance: Length = 0.0
    """Its distance from the axis; stages may move it."""
    angle: Angle = 0.0
    """Direction of its normal, towards the part, from the X axis."""


ContactTable = Annotated[
    CylinderTable | ConeTable | SphereTable | PlaneTable | SideTable, Field(discriminator="kind")
]


def position_of(contact: CylinderTable | ConeTable | SphereTable | PlaneTable | SideTable) -> float:
    """The length that stages may move: radius, height or distance, mm."""
    if isinstance(contact, PlaneTable):
        return contact.height
    return contact.distance if isinstance(contact, SideTable) else contact.radius
