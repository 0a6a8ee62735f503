# SPDX-License-Identifier: MIT
"""Cells made of straight struts: honeycombs, double arrowheads, diamond braids and helices."""

import math
from abc import ABC, abstractmethod
from dataclasses import dataclass
from typing import ClassVar

from annelid.geometry.checks import within
from annelid.geometry.lattice.pattern import Pattern, Strut, polyline


@dataclass(frozen=True)
class _HoneycombBase(ABC):
    """A honeycomb whose vertical walls run along the part.

    Attributes:
        vertical: Length h of the vertical walls, between nodes, mm.
        inclined: Length l of the inclined walls, mm.
        angle: Angle of the inclined walls from the circumference, degrees, positive.
        width: Width t of the walls, mm.

    Raises:
        InputError: If a length is not positive, the angle is outside its range, or walls touch.
    """

    kind: ClassVar[str]
    angle_sign: ClassVar[int]  # sign of the angle in formulas

    vertical: float
    inclined: float
    angle: float
    width: float

    def __post_init__(self) -> None:
        check_lengths(vertical=self.vertical, inclined=self.inclined)
        steepest, why = self._steepest
        within("angle", self.angle, above=0.0, below=steepest, unit="deg", why=why)
        check_width(self.width, self.closing_width, "the space between walls or corners of a cell")

    @property
    def _steepest(self) -> tuple[float, str]:
        """Upper bound of the angle of the inclined walls, degrees, and the reason for it."""
        return 90.0, ""

    @property
    @abstractmethod
    def closing_width(self) -> float:
        """Wall width at which the openings would close, mm."""

    def pattern(self) -> Pattern:
        """Return the pattern of one period."""
        theta = self.angle_sign * math.radians(self.angle)
        vertical = self.vertical
        half, rise = self.inclined * math.cos(theta), self.inclined * math.sin(theta)
        row = vertical + rise
        nodes = ((0.0, vertical), (half, row), (half, row + vertical), (0.0, 2 * row))
        sides = ((-half, row), (-half, row + vertical))
        lines = (
            polyline((0.0, 0.0), nodes[0]),
            polyline(nodes[0], nodes[1]),
            polyline(nodes[0], sides[0]),
            polyline(nodes[1], nodes[2]),
            polyline(nodes[2], nodes[3]),
            polyline(sides[1], nodes[3]),
        )
        struts, limit = tuple(Strut(line, self.width) for line in lines), self.closing_width
        pattern = Pattern(self.kind, 2 * half, 2 * row, struts, symmetric=True, closing_width=limit)
        return pattern.shifted(0.0, -vertical / 2)  # rows then end in the middle of the vertical walls


class Honeycomb(_HoneycombBase):
    """Hexagonal honeycomb (Gibson and Ashby, from memory); regular for h = l and an angle of 30 degrees."""

    kind = "honeycomb"
    angle_sign = 1

    @property
    def closing_width(self) -> float:
        """Wall width at which the openings would close, mm."""
        theta = math.radians(self.angle)
        return min(self.inclined * math.cos(theta), (self.vertical + self.inclined * math.sin(theta)) / 2)


class ReentrantHoneycomb(_HoneycombBase):
    """Re-entrant honeycomb (bow-tie cells), whose inclined walls point into the cell; auxetic."""

    kind = "re-entrant"
    angle_sign = -1

    @property
    def _steepest(self) -> tuple[float, str]:
        steepest = math.degrees(math.asin(min(1.0, self.vertical / (2 * self.inclined))))
        why = "there the inner corners of a cell would meet: vertical = 2 inclined sin(angle)"
        return min(steepest, 85.0), why

    @property
    def closing_width(self) -> float:
        """Wall width at which the openings would close, mm."""
        theta = math.radians(self.angle)
        gap = self.vertical - 2 * self.inclined * math.sin(theta)
        return min(gap, self.inclined) * math.cos(theta)


@dataclass(frozen=True)
class DoubleArrowhead:
    """Double arrowheads pointing along the part (topology of Larsen et al. 1997, from memory); auxetic.

    Attributes:
        long_arm: Length of the long arms, mm.
        long_angle: Angle of the long arms from the axis, degrees.
        short_angle: Angle of the short arms from the axis, degrees.
        width: Width of the arms, mm.

    Raises:
        InputError: If a length is not positive, the angles do not make an arrowhead, or arms merge.
    """

    long_arm: float
    long_angle: float
    short_angle: float
    width: float

    def __post_init__(self) -> None:
        check_lengths(long_arm=self.long_arm)
        within("long_angle", self.long_angle, above=0.0, below=90.0, unit="deg")
        within(
            "short_angle",
            self.short_angle,
            above=self.long_angle,
            below=90.0,
            unit="deg",
            why="short arms must be flatter than long arms",
        )
        check_width(self.width, self.closing_width, "half of the space between two arms")

    @property
    def closing_width(self) -> float:
        """Wall width at which the openings would close, mm."""
        return min(self.pattern_height * math.sin(math.radians(self.long_angle)), self.half_width) / 2

    @property
    def half_width(self) -> float:
        """Half of the period around the part, mm."""
        return self.long_arm * math.sin(math.radians(self.long_angle))

    @property
    def pattern_height(self) -> float:
        """Period along the part, mm."""
        long, short = math.radians(self.long_angle), math.radians(self.short_angle)
        return self.long_arm * math.cos(long) - self.half_width / math.tan(short)

    def pattern(self) -> Pattern:
        """Return the pattern of one period."""
        half, tip = self.half_width, self.long_arm * math.cos(math.radians(self.long_angle))
        dent = half / math.tan(math.radians(self.short_angle))
        lines = [polyline((side, 0.0), (0.0, top)) for top in (tip, dent) for side in (-half, half)]
        struts, limit = tuple(Strut(line, self.width) for line in lines), self.closing_width
        pattern = Pattern("arrowhead", 2 * half, tip - dent, struts, symmetric=True, closing_width=limit)
        step = tip % pattern.height  # between nodes on x = 0 and nodes on x = half
        middle = step / 2 if step > pattern.height / 2 else (step + pattern.height) / 2
        return pattern.shifted(0.0, -middle)  # rows then end between nodes


@dataclass(frozen=True)
class DiamondBraid:
    """Diamonds formed by two crossing families of helices, bonded where they cross; not auxetic.

    Attributes:
        strut: Length of a strut between two crossings, mm.
        braid_angle: Angle of the struts from the axis, degrees.
        width: Width of the struts, mm.

    Raises:
        InputError: If a length is not positive, the angle is outside its range or the diamonds close.
    """

    strut: float
    braid_angle: float
    width: float

    def __post_init__(self) -> None:
        check_lengths(strut=self.strut)
        within("braid_angle", self.braid_angle, above=0.0, below=90.0, unit="deg")
        check_width(self.width, self.closing_width, "half of the distance between parallel struts")

    @property
    def closing_width(self) -> float:
        """Wall width at which the openings would close, mm."""
        return self.strut * math.sin(2 * math.radians(self.braid_angle)) / 2

    def pattern(self) -> Pattern:
        """Return the pattern of one period."""
        angle = math.radians(self.braid_angle)
        half, rise = self.strut * math.sin(angle), self.strut * math.cos(angle)
        lines = [polyline((0.0, end), (side, rise)) for end in (0.0, 2 * rise) for side in (-half, half)]
        struts, limit = tuple(Strut(line, self.width) for line in lines), self.closing_width
        pattern = Pattern("diamond", 2 * half, 2 * rise, struts, symmetric=True, closing_width=limit)
        return pattern.shifted(0.0, -rise / 2)  # rows then end in the middle of the struts


@dataclass(frozen=True)
class Helices:
    """One family of parallel helices, or straight ribs; not auxetic, and free to twist.

    Attributes:
        spacing: Distance between neighbouring helices, measured across them, mm.
        helix_angle: Angle of the helices from the axis, degrees; a negative angle reverses the hand, 0 gives
            ribs along the part.
        width: Width of the helices, mm.

    Raises:
        InputError: If a length is not positive, the angle is outside its range or the gaps close.
    """

    spacing: float
    helix_angle: float
    width: float

    def __post_init__(self) -> None:
        check_lengths(spacing=self.spacing)
        if self.helix_angle:
            within("helix_angle", abs(self.helix_angle), least=5.0, most=85.0, unit="deg")
        check_width(self.width, self.spacing / 2, "half of the spacing")

    def pattern(self) -> Pattern:
        """Return the pattern of one period."""
        if not self.helix_angle:
            rib = Strut(polyline((0.0, 0.0), (0.0, self.spacing)), self.width)
            side, closing_width = self.spacing, self.spacing / 2
            return Pattern("helices", side, side, (rib,), symmetric=True, closing_width=closing_width)
        angle = math.radians(self.helix_angle)
        around = self.spacing / math.cos(angle)
        along = self.spacing / abs(math.sin(angle))
        line = polyline((0.0, 0.0), (math.copysign(around, angle), along))
        return Pattern("helices", around, along, (Strut(line, self.width),), closing_width=self.spacing / 2)


def check_lengths(**lengths: float) -> None:
    """Raise InvalidValue unless lengths are positive, mm."""
    for name, length in lengths.items():
        within(name, length, above=0.0, unit="mm")


def check_width(width: float, closing_width: float, why: str) -> None:
    """Raise InvalidValue unless struts of a width leave openings."""
    within("width", width, above=0.0, below=closing_width, unit="mm", why=why)
