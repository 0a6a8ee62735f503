# SPDX-License-Identifier: MIT
"""Tables of lattices: the cell, and where the lattice is placed."""

from typing import Annotated, Literal

from pydantic import Field

from annelid.cases.schema.base import Angle, Choice, Length, Number, Table, Whole
from annelid.cases.schema.printing import PrintingTable
from annelid.geometry.lattice.chart import SIDES
from annelid.geometry.lattice.rotating_cells import NODES


class HoneycombCellTable(Table):
    """A hexagonal honeycomb whose vertical walls run along the part."""

    kind: Literal["honeycomb"]
    """A hexagonal honeycomb."""
    vertical: Length
    """Length of the walls along the part."""
    inclined: Length
    """Length of the inclined walls."""
    angle: Angle = 30.0
    """Angle of the inclined walls from the circumference."""
    width: Length
    """Width of the walls."""


class ReentrantCellTable(Table):
    """A re-entrant honeycomb whose vertical walls run along the part; auxetic."""

    kind: Literal["re-entrant"]
    """A re-entrant honeycomb."""
    vertical: Length
    """Length of the walls along the part; must be above 2 inclined sin(angle)."""
    inclined: Length
    """Length of the inclined walls."""
    angle: Angle = 30.0
    """Angle of the inclined walls from the circumference, towards the inside of the cell."""
    width: Length
    """Width of the walls."""


class RotatingSquaresCellTable(Table):
    """Squares connected at their corners by hinge ligaments; auxetic."""

    kind: Literal["rotating-squares"]
    """Rotating squares."""
    side: Length
    """Side of the squares."""
    opening: Angle
    """Angle between the sides of neighbouring squares."""
    ligament: Length
    """Length of the hinge ligaments."""
    width: Length
    """Width of the hinge ligaments."""


class HexachiralCellTable(Table):
    """Round nodes with six tangent ligaments each; auxetic."""

    kind: Literal["hexachiral"]
    """Hexachiral nodes."""
    node_radius: Length
    """Radius of the centre line of the nodes."""
    ligament: Length
    """Length of the ligaments between their points of tangency."""
    width: Length
    """Width of ligaments and rings."""
    node: Annotated[str, Choice(NODES)] = "ring"
    """Whether nodes are rings or solid discs."""


class AntiTetrachiralCellTable(Table):
    """Round nodes on a square grid whose neighbours turn in opposite directions; auxetic."""

    kind: Literal["anti-tetrachiral"]
    """Anti-tetrachiral nodes."""
    node_radius: Length
    """Radius of the centre line of the nodes."""
    ligament: Length
    """Length of the ligaments between their points of tangency."""
    width: Length
    """Width of ligaments and rings."""
    node: Annotated[str, Choice(NODES)] = "ring"
    """Whether nodes are rings or solid discs."""


class ArrowheadCellTable(Table):
    """Double arrowheads that point along the part; auxetic."""

    kind: Literal["arrowhead"]
    """Double arrowheads."""
    long_arm: Length
    """Length of the long arms."""
    long_angle: Angle
    """Angle of the long arms from the axis."""
    short_angle: Angle
    """Angle of the short arms from the axis; must be above long_angle."""
    width: Length
    """Width of the arms."""


class SinusoidalCellTable(Table):
    """A square grid of half sine waves; auxetic."""

    kind: Literal["sinusoidal"]
    """Sinusoidal ligaments."""
    spacing: Length
    """Distance between nodes."""
    amplitude: Length
    """Amplitude of the waves."""
    width: Length
    """Width of the ligaments."""


class DiamondCellTable(Table):
    """Diamonds between two families of helices; not auxetic."""

    kind: Literal["diamond"]
    """A diamond braid."""
    strut: Length
    """Length of a strut between crossings."""
    braid_angle: Angle
    """Angle of the struts from the axis."""
    width: Length
    """Width of the struts."""


class HelicesCellTable(Table):
    """One family of parallel helices; not auxetic."""

    kind: Literal["helices"]
    """Helices."""
    spacing: Length
    """Distance between neighbouring helices, measured across them."""
    helix_angle: Angle
    """Angle from the axis, 5 to 85 degrees; negative for the other direction, 0 for straight ribs."""
    width: Length
    """Width of the helices."""


CellTable = Annotated[
    HoneycombCellTable
    | ReentrantCellTable
    | RotatingSquaresCellTable
    | HexachiralCellTable
    | AntiTetrachiralCellTable
    | ArrowheadCellTable
    | SinusoidalCellTable
    | DiamondCellTable
    | HelicesCellTable,
    Field(discriminator="kind"),
]


class MeasuredFileTable(Table):
    """A measured surface from a CSV file; the resolved case contains its radii."""

    kind: Literal["file"]
    """A surface from a CSV file."""
    path: str
    """CSV file with columns angle_deg, height_mm and radius_mm on a full grid; relative to the case file."""


class MeasuredGridTable(Table):
    """A measured surface: its radius over angle and height."""

    kind: Literal["grid"]
    """A surface given by radii on a grid."""
    heights: Annotated[tuple[Length, ...], Field(min_length=4)]
    """Heights along the axis, ascending."""
    radii: Annotated[tuple[tuple[Length, ...], ...], Field(min_length=8)]
    """Radii at the heights, one list for each of the evenly spaced angles from 0."""


MeasuredTable = Annotated[MeasuredFileTable | MeasuredGridTable, Field(discriminator="kind")]


class LatticeTable(Table):
    """A printed lattice bonded to the wall; its struts form the region "lattice"."""

    cell: CellTable
    """The flat cell; it is scaled so that a whole number of cells fits around the part."""
    height: Length
    """Height of the struts along the normal of the wall."""
    side: Annotated[str, Choice(SIDES)] = "outside"
    """Whether the struts are on the outer face, on the inner face, or in the wall."""
    depth: Number = 0.5
    """Position of the middle of an embedded lattice in the wall, from 0 (inner face) to 1 (outer face)."""
    around: Whole | None = None
    """Number of cells around; default: as many as fit around the widest circle at their drawn size."""
    along: Whole | None = None
    """Number of cells along the part; default: as many as fit."""
    start: Annotated[Length | None, Field(alias="from")] = None
    """Lower limit of the height of the lattice; default: the lower end of the wall."""
    end: Annotated[Length | None, Field(alias="to")] = None
    """Upper limit of the height of the lattice; default: the upper end of the wall."""
    ring: Length = 0.0
    """Minimum width of the solid end rings; "0 mm" for none."""
    smallest: Number = 0.3
    """The cells end where their size is this fraction of their size at the widest circle."""
    measured: MeasuredTable | None = None
    """Measured outer surface of the wall; it replaces the drawn surface for printing and meshing."""
    printing: PrintingTable = PrintingTable()
    """How the lattice is printed."""
