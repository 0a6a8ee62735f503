# SPDX-License-Identifier: MIT
"""How a part with a printed lattice is made, as a case file writes it."""

from annelid.cases.schema.base import Count, Length, Name, Pressure, Table, Volume


class MakingTable(Table):
    """The skin is inflated from the drawn, stress-free shape; the lattice is printed on it, free of stress.

    The stages begin with the printed part, still under the pressure that holds the skin.
    """

    pressure: Pressure | None = None
    """Pressure to which the skin is inflated."""
    volume: Volume | None = None
    """Or the volume that it then encloses; the pressure follows. Neither: what a measured face encloses."""
    cover: tuple[Name, ...] = ()
    """Layers cast over the printed lattice while the skin is still inflated, stress-free, its struts in them:
    the outermost ones, inside to outside."""
    steps: Count = 10
    """Wanted number of steps of the inflation."""
    along: Length | None = None
    """Element size along the skin while it is inflated; left out: a third of mesh.along."""
    compare: bool = True
    """Whether the stroke of the bare skin is found as well, for the amplification."""
