# SPDX-License-Identifier: MIT
"""Cells of straight struts: honeycombs, double arrowhead, diamond braid, helices."""

import math
from abc import ABC, abstractmethod
from dataclasses import dataclass
from typing import ClassVar

from annelid.geometry.checks import within
from annelid.geometry.lattice.pattern import Pattern, Strut, polyline


@dataclass(frozen=True)
class _Walls(ABC):
    """Walls of a honeycomb, the vertical ones along the part.

    Attributes:
        vertical: Length h of the vertical walls, between nodes, mm.
        inclined: Length l of the inclined walls, mm.
        angle: Angle of the inclined walls from the circumference, degrees, positive.
        width: Width t of the walls, mm.

    Raises:
        InputError: If a length is not positive, the angle is outside its range, or walls meet.
    """

    kind: ClassVar[str]
    lean: ClassVar[int]  # sign of the angle in formulas

    vertical: float
    inclined: float
    angle: float
    width: float

    def __post_init__(self) -> None:
        _check_lengths(self.kind, vertical=self.vertical, inclined=self.inclined)
        steepest, why = self._steepest
        within(f"{self.kind}.angle", self.angle, above=0.0, below=steepest, unit="deg", why=why)
        _check_width(self.kind, self.width, self.room, "what lies between walls or corners of a cell")

    @property
    def _steepest(self) -> tuple[float, str]:
        """Angle which the inclined walls must stay below, degrees, and why."""
        return 90.0, ""

    @property
    @abstractmethod
    def room(self) -> float:
        """Width at which openings would close, mm."""

    def pattern(self) -> Pattern:
        """Return the repeating rectangle."""
        theta = self.lean * math.radians(self.angle)
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
        struts = tuple(Strut(line, self.width) for line in lines)
        pattern = Pattern(self.kind, 2 * half, 2 * row, struts, mirrors=True, room=self.room)
        return pattern.shifted(0.0, -vertical / 2)  # rows then end half way up the vertical walls


class Honeycomb(_Walls):
    """Hexagonal honeycomb (Gibson and Ashby, from memory); an angle of 30 degrees is regular if h = l."""

    kind = "honeycomb"
    lean = 1

    @property
    def room(self) -> float:
        """Width at which openings would close, mm."""
        theta = math.radians(self.angle)
        return min(self.inclined * math.cos(theta), (self.vertical + self.inclined * math.sin(theta)) / 2)


class ReentrantHoneycomb(_Walls):
    """Re-entrant honeycomb (bow-ties), its inclined walls leaning into the cell; auxetic."""

    kind = "re-entrant"
    lean = -1

    @property
    def _steepest(self) -> tuple[float, str]:
        steepest = math.degrees(math.asin(min(1.0, self.vertical / (2 * self.inclined))))
        why = "where the inner corners of a cell would meet: vertical = 2 inclined sin(angle)"
        return min(steepest, 85.0), why

    @property
    def room(self) -> float:
        """Width at which openings would close, mm."""
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
        _check_lengths("arrowhead", long_arm=self.long_arm)
        within("arrowhead.long_angle", self.long_angle, above=0.0, below=90.0, unit="deg")
        within(
            "arrowhead.short_angle",
            self.short_angle,
            above=self.long_angle,
            below=90.0,
            unit="deg",
            why="the short arms are flatter than the long ones",
        )
        _check_width("arrowhead", self.width, self.room, "half of what lies between two arms")

    @property
    def room(self) -> float:
        """Width at which openings would close, mm."""
        return min(self.pattern_height * math.sin(math.radians(self.long_angle)), self.half_width) / 2

    @property
    def half_width(self) -> float:
        """Half of the period around, mm."""
        return self.long_arm * math.sin(math.radians(self.long_angle))

    @property
    def pattern_height(self) -> float:
        """Period along, mm."""
        long, short = math.radians(self.long_angle), math.radians(self.short_angle)
        return self.long_arm * math.cos(long) - self.half_width / math.tan(short)

    def pattern(self) -> Pattern:
        """Return the repeating rectangle."""
        half, tip = self.half_width, self.long_arm * math.cos(math.radians(self.long_angle))
        dent = half / math.tan(math.radians(self.short_angle))
        lines = [polyline((side, 0.0), (0.0, top)) for top in (tip, dent) for side in (-half, half)]
        struts = tuple(Strut(line, self.width) for line in lines)
        pattern = Pattern("arrowhead", 2 * half, tip - dent, struts, mirrors=True, room=self.room)
        step = tip % pattern.height  # between nodes on x = 0 and those on x = half
        middle = step / 2 if step > pattern.height / 2 else (step + pattern.height) / 2
        return pattern.shifted(0.0, -middle)  # rows then end clear of nodes


@dataclass(frozen=True)
class DiamondBraid:
    """Diamonds between two crossing families of helices, bonded where they cross; not auxetic.

    Attributes:
        strut: Length of a strut between crossings, mm.
        braid_angle: Angle of the struts from the axis, degrees.
        width: Width of the struts, mm.

    Raises:
        InputError: If a length is not positive, the angle is outside its range or the diamonds close.
    """

    strut: float
    braid_angle: float
    width: float

    def __post_init__(self) -> None:
        _check_lengths("diamond", strut=self.strut)
        within("diamond.braid_angle", self.braid_angle, above=0.0, below=90.0, unit="deg")
        _check_width("diamond", self.width, self.room, "half of the distance between parallel struts")

    @property
    def room(self) -> float:
        """Width at which openings would close, mm."""
        return self.strut * math.sin(2 * math.radians(self.braid_angle)) / 2

    def pattern(self) -> Pattern:
        """Return the repeating rectangle."""
        angle = math.radians(self.braid_angle)
        half, rise = self.strut * math.sin(angle), self.strut * math.cos(angle)
        lines = [polyline((0.0, end), (side, rise)) for end in (0.0, 2 * rise) for side in (-half, half)]
        struts = tuple(Strut(line, self.width) for line in lines)
        pattern = Pattern("diamond", 2 * half, 2 * rise, struts, mirrors=True, room=self.room)
        return pattern.shifted(0.0, -rise / 2)  # rows then end half way up the struts


@dataclass(frozen=True)
class Helices:
    """One family of parallel helices, or straight ribs; not auxetic, and free to unwind.

    Attributes:
        spacing: Distance between neighbours, across them, mm.
        helix_angle: Angle of the helices from the axis, degrees; negative turns the other way, 0 makes ribs
            along the part.
        width: Width of the helices, mm.

    Raises:
        InputError: If a length is not positive, the angle is outside its range or the gaps close.
    """

    spacing: float
    helix_angle: float
    width: float

    def __post_init__(self) -> None:
        _check_lengths("helices", spacing=self.spacing)
        if self.helix_angle:
            within("helices.helix_angle", abs(self.helix_angle), least=5.0, most=85.0, unit="deg")
        _check_width("helices", self.width, self.spacing / 2, "half of the spacing")

    def pattern(self) -> Pattern:
        """Return the repeating rectangle."""
        if not self.helix_angle:
            rib = Strut(polyline((0.0, 0.0), (0.0, self.spacing)), self.width)
            side, room = self.spacing, self.spacing / 2
            return Pattern("helices", side, side, (rib,), mirrors=True, room=room)
        angle = math.radians(self.helix_angle)
        around = self.spacing / math.cos(angle)
        along = self.spacing / abs(math.sin(angle))
        line = polyline((0.0, 0.0), (math.copysign(around, angle), along))
        return Pattern("helices", around, along, (Strut(line, self.width),), room=self.spacing / 2)


def _check_lengths(cell: str, **lengths: float) -> None:
    for name, length in lengths.items():
        within(f"{cell}.{name}", length, above=0.0, unit="mm")


def _check_width(cell: str, width: float, room: float, why: str) -> None:
    within(f"{cell}.width", width, above=0.0, below=room, unit="mm", why=why)
