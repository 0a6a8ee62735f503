# SPDX-License-Identifier: MIT
"""Lattices as a case file writes them: the cell and where it is placed."""

from typing import Annotated, Literal

from pydantic import Field

from annelid.cases.schema.base import Angle, Choice, Length, Number, Table, Whole
from annelid.cases.schema.printing import PrintingTable
from annelid.geometry.lattice.chart import SIDES
from annelid.geometry.lattice.rotating_cells import NODES


class HoneycombCellTable(Table):
    """Hexagonal honeycomb, vertical walls along the part."""

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
    """Re-entrant honeycomb, vertical walls along the part; auxetic."""

    kind: Literal["re-entrant"]
    """A re-entrant honeycomb."""
    vertical: Length
    """Length of the walls along the part; above 2 inclined sin(angle)."""
    inclined: Length
    """Length of the inclined walls."""
    angle: Angle = 30.0
    """Angle by which the inclined walls lean into the cell."""
    width: Length
    """Width of the walls."""


class RotatingSquaresCellTable(Table):
    """Squares joined at their corners by hinge ligaments; auxetic."""

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
    """Radius of the nodes, to the middle of the ring."""
    ligament: Length
    """Length of the ligaments between their points of tangency."""
    width: Length
    """Width of ligaments and rings."""
    node: Annotated[str, Choice(NODES)] = "ring"
    """Whether nodes are rings or solid discs."""


class AntiTetrachiralCellTable(Table):
    """Round nodes on a square grid, neighbours turning opposite ways; auxetic."""

    kind: Literal["anti-tetrachiral"]
    """Anti-tetrachiral nodes."""
    node_radius: Length
    """Radius of the nodes, to the middle of the ring."""
    ligament: Length
    """Length of the ligaments between their points of tangency."""
    width: Length
    """Width of ligaments and rings."""
    node: Annotated[str, Choice(NODES)] = "ring"
    """Whether nodes are rings or solid discs."""


class ArrowheadCellTable(Table):
    """Double arrowheads pointing along the part; auxetic."""

    kind: Literal["arrowhead"]
    """Double arrowheads."""
    long_arm: Length
    """Length of the long arms."""
    long_angle: Angle
    """Angle of the long arms from the axis."""
    short_angle: Angle
    """Angle of the short arms from the axis; above long_angle."""
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
    """Distance between neighbours, across them."""
    helix_angle: Angle
    """Angle from the axis, 5 to 85 degrees; negative turns the other way, 0 makes straight ribs."""
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
    """A measured surface from a table; the resolved case holds the radii themselves."""

    kind: Literal["file"]
    """A surface from a CSV file."""
    path: str
    """CSV file with columns angle_deg, height_mm and radius_mm, a full grid; relative to the case file."""


class MeasuredGridTable(Table):
    """A measured surface: its radius over angle and height."""

    kind: Literal["grid"]
    """A surface given by radii on a grid."""
    heights: Annotated[tuple[Length, ...], Field(min_length=4)]
    """Heights along the axis, ascending."""
    radii: Annotated[tuple[tuple[Length, ...], ...], Field(min_length=8)]
    """For each of evenly spaced angles, from 0 on, the radii at the heights."""


MeasuredTable = Annotated[MeasuredFileTable | MeasuredGridTable, Field(discriminator="kind")]


class LatticeTable(Table):
    """A printed lattice bonded to the wall; its struts are the region "lattice"."""

    cell: CellTable
    """The flat cell; it is scaled so that a whole number of cells fits around."""
    height: Length
    """Height of the struts along the normal of the wall."""
    side: Annotated[str, Choice(SIDES)] = "outside"
    """Whether the struts lie on the outer face, on the inner face, or in the wall."""
    depth: Number = 0.5
    """Where in the wall the middle of an embedded lattice lies: from 0 (inner face) to 1 (outer face)."""
    around: Whole | None = None
    """Number of cells around; left out: as many as fit at their drawn size around the widest circle."""
    along: Whole | None = None
    """Number of cells along; left out: as many as fit."""
    start: Annotated[Length | None, Field(alias="from")] = None
    """Height at which the lattice may start; left out: the lower end of the wall."""
    end: Annotated[Length | None, Field(alias="to")] = None
    """Height at which the lattice must end; left out: the upper end of the wall."""
    ring: Length = 0.0
    """Least width of the solid end rings; "0 mm" for none."""
    smallest: Number = 0.3
    """Cells end where they have shrunk to this fraction of their size at the widest circle."""
    measured: MeasuredTable | None = None
    """Measured outer surface of the wall; lattice and wall are meshed and printed on it instead."""
    printing: PrintingTable = PrintingTable()
    """How it is printed."""
