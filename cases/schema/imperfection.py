# SPDX-License-Identifier: MIT
"""Tables of a deviation of the part from its shape of revolution."""

from typing import Annotated, Literal

from pydantic import Field, FiniteFloat

from annelid.cases.schema.base import Length, Table, Thickness, Whole


class _WavesTable(Table):
    waves: Whole
    """Number of waves around the axis, for example 2 for an oval."""
    size: Thickness
    """Largest displacement of a point, for example "5 um"; at most the thickness of the wall."""


class ImperfectionFileTable(_WavesTable):
    """A mode from a CSV file; the resolved case contains its values."""

    kind: Literal["file"]
    """A mode from a CSV file."""
    path: str
    """CSV file with the columns radius_mm, height_mm, outwards, around, along; relative to the case file."""


class ImperfectionPointsTable(_WavesTable):
    """A mode given by its amplitudes at points of the meridian."""

    kind: Literal["points"]
    """A mode at points."""
    radius: Annotated[tuple[Length, ...], Field(min_length=3)]
    """Distances of the points from the axis."""
    height: Annotated[tuple[Length, ...], Field(min_length=3)]
    """Heights of the points along the axis."""
    outwards: Annotated[tuple[FiniteFloat, ...], Field(min_length=3)]
    """Radial amplitudes a at the points; the displacement is a cos mθ."""
    around: Annotated[tuple[FiniteFloat, ...], Field(min_length=3)]
    """Amplitudes b around the axis; the displacement is b sin mθ."""
    along: Annotated[tuple[FiniteFloat, ...], Field(min_length=3)]
    """Amplitudes c along the axis; the displacement is c cos mθ."""


ImperfectionTable = Annotated[ImperfectionFileTable | ImperfectionPointsTable, Field(discriminator="kind")]
