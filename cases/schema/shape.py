# SPDX-License-Identifier: MIT
"""Tables of shapes."""

from typing import Annotated, Literal

from pydantic import Field

from annelid.cases.schema.base import Choice, Length, Name, Table, Thickness
from annelid.geometry.shapes.dome_meridian import PROFILES
from annelid.geometry.shapes.meridian_profiles import TAPERS
from annelid.geometry.shapes.tube import ENDS


class ThicknessFileTable(Table):
    """A measured thickness from a CSV file; the resolved case contains its values."""

    kind: Literal["file"]
    """A thickness from a CSV file."""
    path: str
    """CSV file with the columns height_mm (on a dome radius_mm) and thickness_um or thickness_mm, and
    angle_deg if the thickness differs around; relative to the case file."""
    average: bool = False
    """Whether the mean around is taken at each height."""


class ThicknessGridTable(Table):
    """A measured thickness over the height, or over the angle and the height."""

    kind: Literal["grid"]
    """A thickness given at places along the wall."""
    places: Annotated[tuple[Length, ...], Field(min_length=2)]
    """Heights along the axis, on a dome radii of the inner face, ascending."""
    thicknesses: Annotated[tuple[tuple[Thickness, ...], ...], Field(min_length=1)]
    """Thicknesses at the places: one list if they are the same all around, else one for each of the evenly
    spaced angles from 0."""
    average: bool = False
    """Whether the mean around is taken at each place."""


ThicknessMapTable = Annotated[ThicknessFileTable | ThicknessGridTable, Field(discriminator="kind")]


class LayerTable(Table):
    """One layer of the wall, bonded to its neighbours."""

    name: Name
    """Name of the region; parts and electrodes refer to it."""
    thickness: Thickness | None = None
    """Mounted thickness, for example "180 um"; default: that of the sheets of its part."""
    thickness_map: ThicknessMapTable | None = None
    """Measured thickness that differs from place to place; instead of thickness."""


Layers = Annotated[tuple[LayerTable, ...], Field(min_length=1)]


class TubeTable(Table):
    """A tube of bonded layers; its axis is Z, from 0 to the length."""

    kind: Literal["tube"]
    """A straight tube."""
    inner_radius: Length
    """Drawn radius of the lumen, for example "4 mm"."""
    length: Length
    """Length along the axis, for example "30 mm"."""
    layers: Layers
    """Layers from the lumen outwards."""
    ends: Annotated[str, Choice(ENDS)] = "open"
    """"capped" closes both ends with solid discs (region "cap")."""
    cap_thickness: Thickness | None = None
    """Thickness of the discs; default: that of the wall."""
    thick_wall: bool = False
    """Whether the wall may be thicker than the inner radius."""


class TaperedTubeTable(Table):
    """A tube whose inner radius changes from one end to the other."""

    kind: Literal["tapered tube"]
    """A tube with two end radii."""
    low_radius: Length
    """Inner radius at the lower end, for example "6 mm"."""
    high_radius: Length
    """Inner radius at the upper end."""
    length: Length
    """Length along the axis, for example "30 mm"."""
    taper: Annotated[str, Choice(TAPERS)] = "straight"
    """"straight" (a cone) or "smooth" (ends parallel to the axis)."""
    layers: Layers
    """Layers from the lumen outwards; their thickness is measured along the normal of the inner face."""


class SleeveTable(Table):
    """Layers bonded around a soft core, such as an organ (region "core")."""

    kind: Literal["sleeve"]
    """A sleeve around a core."""
    core_radius: Length
    """Outer radius of the core and inner radius of the sleeve, for example "4 mm"."""
    length: Length
    """Length of the sleeve along the axis, for example "30 mm"."""
    layers: Layers
    """Layers of the sleeve from the core outwards."""
    core_inner_radius: Length = 0.0
    """Radius of the lumen of the core; "0 mm" for a solid core."""
    core_overhang: Length = 0.0
    """Length by which the core extends beyond the sleeve at each end."""
    thick_wall: bool = False
    """Whether the wall may be thicker than the radius of the core."""


class SphereMeridianTable(Table):
    """A closed sphere."""

    kind: Literal["sphere"]
    """A sphere."""
    radius: Length
    """Inner radius."""
    half: bool = False
    """Only the upper half, with an open ring at the equator."""


class EllipsoidMeridianTable(Table):
    """A closed ellipsoid of revolution."""

    kind: Literal["ellipsoid"]
    """An ellipsoid of revolution."""
    radius: Length
    """Inner radius at the equator."""
    half_length: Length
    """Half of the inner length along the axis."""
    half: bool = False
    """Only the upper half, with an open ring at the equator."""


class NeckedMeridianTable(Table):
    """A balloon with a neck at both ends; each neck ends in an open ring."""

    kind: Literal["necked"]
    """A balloon with a neck at both ends."""
    radius: Length
    """Inner radius in the middle."""
    length: Length
    """Length from ring to ring, including the necks."""
    neck_radius: Length
    """Inner radius of the necks."""
    neck_length: Length
    """Length of each neck; may be "0 mm"."""
    shoulder: Length | None = None
    """Axial length over which a neck widens; default: twice the difference of the radii if there is room."""


class PointsMeridianTable(Table):
    """An inner contour through points, smoothed by a spline."""

    kind: Literal["points"]
    """A contour through points."""
    radius: Annotated[tuple[Length, ...], Field(min_length=4)]
    """Distances of the points from the axis, in order along the contour."""
    height: Annotated[tuple[Length, ...], Field(min_length=4)]
    """Heights of the same points along the axis."""
    smoothing: Length = 0.0
    """Mean distance of the spline from the points; "0 mm" for a spline through the points."""


class FileMeridianTable(Table):
    """An inner contour from a CSV file; the resolved case contains its points."""

    kind: Literal["file"]
    """A contour from a CSV file."""
    path: str
    """CSV file with the columns radius_mm and height_mm; relative to the case file."""
    smoothing: Length = 0.0
    """Mean distance of the spline from the points; "0 mm" for a spline through the points."""


MeridianTable = Annotated[
    SphereMeridianTable
    | EllipsoidMeridianTable
    | NeckedMeridianTable
    | PointsMeridianTable
    | FileMeridianTable,
    Field(discriminator="kind"),
]


class BalloonTable(Table):
    """A balloon whose inner surface is given by its contour in the half plane."""

    kind: Literal["balloon"]
    """A balloon of revolution."""
    meridian: MeridianTable
    """Contour of the inner surface."""
    layers: Layers
    """Layers from the lumen outwards."""


class DomeTable(Table):
    """A cap or funnel of revolution, such as that of a valve; its rim is at height 0."""

    kind: Literal["dome"]
    """A dome."""
    profile: Annotated[str, Choice(PROFILES)] = "spherical"
    """Form of the meridian of the inner face."""
    rim_radius: Length
    """Radius of the inner face at the rim, for example "10 mm"."""
    rise: Length
    """Height of the inner face above the rim, at the centre or at the edge of the hole."""
    hole_radius: Length = 0.0
    """Radius of a hole at the centre; "0 mm" for none."""
    tip_radius: Length = 0.0
    """Radius that rounds the tip of a funnel without a hole."""
    layers: Layers
    """Layers from the hollow side outwards."""


ShapeTable = Annotated[
    TubeTable | TaperedTubeTable | SleeveTable | BalloonTable | DomeTable, Field(discriminator="kind")
]
