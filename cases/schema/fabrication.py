# SPDX-License-Identifier: MIT
"""Table of the workshop: what the fabrication sheet of a part needs besides its shape."""

from annelid.cases.schema.base import Length, Number, Table


class FabricationTable(Table):
    """How the maker casts, cuts and connects the part. It changes no result; what is missing is said so."""

    pass_thickness: Length | None = None
    """Dry thickness that one pass leaves (a dip, a spray coat, a drawn film), for example "20 um"."""
    shrinkage: Number | None = None
    """Linear shrinkage of the rubber from the mould to the cured part, for example "1 %"."""
    tab_width: Length | None = None
    """Width of an electrode tab along the seam."""
    tab_length: Length | None = None
    """Length by which a tab projects from the edge of the sheet."""
    seam_overlap: Length | None = None
    """Length by which the ends of a wrapped sheet overlap."""
    allowance: Length | None = None
    """Width that is added to a blank on each edge and cut off later."""
    clearance: Length | None = None
    """Smallest distance, as cast, of an electrode from the ends of its sheet and from its neighbours."""
    marks: Length = 10.0
    """Side of the squares that the marks on a sheet form once it is mounted."""
