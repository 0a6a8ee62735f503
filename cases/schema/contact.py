# SPDX-License-Identifier: MIT
"""Rigid obstacles that a surface may touch, as a case file writes them."""

from typing import Annotated, Literal

from pydantic import Field

from annelid.cases.schema.base import Angle, Length, LengthOrZero, Name, Position, Table

__all__ = ["Contact", "position_of"]


class _Obstacle(Table):
    name: Name
    """Name of the obstacle, for stages and quantities."""
    surface: str
    """Surface of the part that may touch it, for example "lumen"."""
    tolerance: Length = 0.002
    """How deep the surface sinks in under a pressure as large as the shear modulus."""


class Cylinder(_Obstacle):
    """A round bar or bore around the axis."""

    kind: Literal["cylinder"]
    """A cylinder around the axis; of radius "0 mm": the closing lumen of an axisymmetric model."""
    radius: LengthOrZero
    """Its radius; stages may move it."""
    part_is: Literal["outside", "inside"] = "outside"
    """Whether the part lies around it or within it."""


class Cone(_Obstacle):
    """A cone around the axis."""

    kind: Literal["cone"]
    """A cone around the axis."""
    radius: LengthOrZero
    """Its radius at the height; stages may move it."""
    height: Position = 0.0
    """Where it has this radius."""
    angle: Angle
    """Half angle; positive where it widens along the axis."""
    part_is: Literal["outside", "inside"] = "outside"
    """Whether the part lies around it or within it."""


class Sphere(_Obstacle):
    """A ball or a bowl centred on the axis."""

    kind: Literal["sphere"]
    """A sphere centred on the axis."""
    radius: LengthOrZero
    """Its radius; stages may move it."""
    height: Position
    """Height of its centre."""
    part_is: Literal["outside", "inside"] = "outside"
    """Whether the part lies around it or within it."""


class Plane(_Obstacle):
    """A plate across the axis."""

    kind: Literal["plane"]
    """A plane across the axis."""
    height: Position
    """Its height; stages may move it."""
    part_is: Literal["outside", "inside"] = "outside"
    """"outside": the part lies above it; "inside": below."""


class Side(_Obstacle):
    """A plane along the axis, against which a lumen closes in 3-D models."""

    kind: Literal["side"]
    """A plane along the axis."""
    distance: Position = 0.0
    """Its distance from the axis; stages may move it."""
    angle: Angle = 0.0
    """Direction of its normal, towards the part, from the X axis."""


Contact = Annotated[Cylinder | Cone | Sphere | Plane | Side, Field(discriminator="kind")]


def position_of(contact: Cylinder | Cone | Sphere | Plane | Side) -> float:
    """The length that stages may move: radius, height or distance, mm."""
    if isinstance(contact, Plane):
        return contact.height
    return contact.distance if isinstance(contact, Side) else contact.radius
