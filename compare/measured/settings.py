# SPDX-License-Identifier: MIT
"""How a scan becomes a measured surface."""

from dataclasses import dataclass, field

from annelid.compare.scans.cleaning_settings import Cleaning
from annelid.geometry.checks import one_of, whole_number, within
from annelid.geometry.errors import InvalidValue, checking

AXES = ("sections", "ends")


@dataclass(frozen=True)
class SurfaceSettings:
    """How the surface of a scan is fitted.

    Attributes:
        axis: ``"sections"``: the straight line nearest to the middles of all cross-sections; ``"ends"``: the
            line through the middles of both end rings.
        low: Lowest height of the surface, mm; ``None`` for the lower end of the scan.
        high: Highest height, mm; ``None`` for the upper end.
        angles: Number of angles of the grid that is written.
        largest_hole: Width of the largest hole that is filled, over the mean diameter of the surface.
        cleaning: How the scan is cleaned.

    Raises:
        InvalidValue: A value is outside its range.
    """

    axis: str = "sections"
    low: float | None = None
    high: float | None = None
    angles: int = 72
    largest_hole: float = 0.5
    cleaning: Cleaning = field(default_factory=Cleaning)

    def __post_init__(self) -> None:
        with checking("surface"):
            one_of("axis", self.axis, AXES)
            whole_number("angles", self.angles, least=16)
            within("angles", self.angles, most=720)
            within("largest_hole", self.largest_hole, above=0.0, most=1.0, unit="diameters")
            for key, value in (("from", self.low), ("to", self.high)):
                if value is not None:
                    within(key, value, unit="mm")
            if self.low is not None and self.high is not None and self.low >= self.high:
                text = f"{self.low:g} mm must be below the upper height of {self.high:g} mm"
                raise InvalidValue(text, key="from", value=self.low)
