# SPDX-License-Identifier: MIT
"""Table of the making of a part with a printed lattice."""

from annelid.cases.schema.base import Count, Length, Name, Number, Pressure, Table, Volume


class MakingTable(Table):
    """The skin is inflated from its drawn, stress-free shape, and the lattice is printed on it.

    The lattice is stress-free on the inflated skin. The stages begin with the printed part under the pressure
    of the inflation.
    """

    pressure: Pressure | None = None
    """Pressure to which the skin is inflated."""
    volume: Volume | None = None
    """Enclosed volume to which the skin is inflated; the pressure follows. Without pressure, volume and
    stretch, it is inflated to the volume that its measured face encloses."""
    stretch: Number | None = None
    """Mean hoop stretch through the wall to which the skin is inflated, at its widest stress-free place;
    pressure and volume follow."""
    cover: tuple[Name, ...] = ()
    """Layers that are cast without stress over the printed lattice while the skin is inflated, so that the
    struts are embedded in them: the outermost layers, from inside to outside."""
    steps: Count = 10
    """Number of equal steps of the inflation; they are halved where necessary."""
    along: Length | None = None
    """Element size along the skin during the inflation; default: a third of mesh.along."""
    compare: bool = True
    """Whether the stroke of the bare skin is also computed, for the amplification."""
