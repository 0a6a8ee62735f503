# SPDX-License-Identifier: MIT
"""What a maker chooses: coats, shrinkage, tabs, seams, allowances and marks."""

import math
from dataclasses import dataclass

from annelid.geometry.checks import within
from annelid.geometry.errors import InvalidValue

__all__ = ["FabricationSettings"]

_WHOLE = 1e-6  # of a pass: a smaller remainder is rounding
_FINEST_MARKS = 0.1  # mm: finer ones cannot be drawn by hand, and their number would be unlimited


@dataclass(frozen=True)
class FabricationSettings:
    """Settings of the workshop; ``None`` means not given, so that nothing is invented.

    Attributes:
        pass_thickness: Dry thickness that one pass leaves (a dip, a spray coat, a drawn film), mm.
        shrinkage: Linear shrinkage of the rubber from the mould to the cured part, over the size of the
            mould.
        tab_width: Width of an electrode tab along the seam, mm.
        tab_length: Length by which a tab projects from the edge of the sheet, mm.
        seam_overlap: Length by which the ends of a wrapped sheet overlap, mm.
        allowance: Width that is added to a blank on each edge and cut off later, mm.
        clearance: Smallest distance of an electrode from the ends of its sheet and from its neighbours, mm.
        marks: Side of the squares that the marks on a sheet form once it is mounted, mm.

    Raises:
        InvalidValue: A value is out of its range.
    """

    pass_thickness: float | None = None
    shrinkage: float | None = None
    tab_width: float | None = None
    tab_length: float | None = None
    seam_overlap: float | None = None
    allowance: float | None = None
    clearance: float | None = None
    marks: float = 10.0

    def __post_init__(self) -> None:
        within("marks", self.marks, least=_FINEST_MARKS, unit="mm")
        for name in ("pass_thickness", "tab_width", "tab_length"):
            if getattr(self, name) is not None:
                within(name, getattr(self, name), above=0.0, unit="mm")
        for name in ("seam_overlap", "allowance", "clearance"):
            if getattr(self, name) is not None:
                within(name, getattr(self, name), least=0.0, unit="mm")
        if self.shrinkage is not None:
            within("shrinkage", self.shrinkage, least=0.0, below=0.5)
        for name, other in (("tab_width", "tab_length"), ("tab_length", "tab_width")):
            if getattr(self, name) is not None and getattr(self, other) is None:
                raise InvalidValue(f"needs {other} as well", key=name)

    @property
    def tab(self) -> tuple[float, float] | None:
        """Width and length of a tab, mm."""
        if self.tab_width is None or self.tab_length is None:
            return None
        return self.tab_width, self.tab_length

    def passes(self, thickness: float) -> tuple[int, float] | None:
        """Number of passes for a thickness as cast in mm, and the thickness of the last one, mm."""
        if self.pass_thickness is None:
            return None
        count = max(1, math.ceil(thickness / self.pass_thickness - _WHOLE))
        return count, thickness - (count - 1) * self.pass_thickness

    def in_mould(self, length: float) -> float:
        """Length in the mould of a length as cast; the same if no shrinkage is given."""
        return length / (1 - (self.shrinkage or 0.0))
