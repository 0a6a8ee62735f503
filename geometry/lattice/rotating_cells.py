# SPDX-License-Identifier: MIT
"""Cells whose nodes rotate: rotating squares, chiral cells and sinusoidal ligaments."""

import math
from dataclasses import dataclass
from itertools import pairwise
from typing import ClassVar

import numpy as np
from numpy.typing import NDArray

from annelid.geometry.body import FloatArray
from annelid.geometry.checks import one_of, within
from annelid.geometry.lattice.pattern import Pattern, Strut, arc

NODES = ("ring", "disc")
_SAMPLES = 25  # points on a quarter wave of a ligament and its mirror images


@dataclass(frozen=True)
class RotatingSquares:
    """Squares joined at their corners by short ligaments (Grima and Evans 2000, from memory); auxetic.

    Attributes:
        side: Side of the squares, mm.
        opening: Angle between the sides of neighbouring squares, degrees.
        ligament: Length of the hinge ligaments, from corner to corner, mm.
        width: Width of the hinge ligaments, mm.

    Raises:
        InputError: If a length is not positive or the opening angle is outside its range.
    """

    side: float
    opening: float
    ligament: float
    width: float

    def __post_init__(self) -> None:
        within("side", self.side, above=0.0, unit="mm")
        within("opening", self.opening, least=10.0, most=170.0, unit="deg")
        within("ligament", self.ligament, above=0.0, below=self.side, unit="mm", why="side")
        most = self._narrow * self.side
        within("width", self.width, above=0.0, most=most, unit="mm", why="hinges")

    @property
    def _tilt(self) -> float:
        """Angle between a ligament and the diagonals of the squares it joins, rad."""
        return math.radians(abs(90.0 - self.opening) / 2)

    @property
    def _narrow(self) -> float:
        """Largest ratio of width to side, at which a ligament ends inside its squares, at half a side."""
        return min(0.5, math.tan(math.pi / 4 - self._tilt))

    @property
    def pitch(self) -> float:
        """Distance between the centres of neighbouring squares, mm."""
        half = math.radians(self.opening) / 2
        return self.side * (math.cos(half) + math.sin(half)) + self.ligament

    def pattern(self) -> Pattern:
        """Return the pattern of one period: four squares, mirror lines through the middles of ligaments."""
        pitch, half = self.pitch, math.radians(self.opening) / 2
        reach = min(self.side / 2, self.width / 2 / math.tan(math.pi / 4 - self._tilt))
        x, y = (self.side / math.sqrt(2) * f(math.pi / 4 - half) for f in (math.cos, math.sin))
        plates, lines = [], []
        for i, j in np.ndindex(2, 2):
            centre = pitch * np.array([i + 0.5, j + 0.5])
            sign = 1.0 if (i + j) % 2 == 0 else -1.0
            # The corner towards +x is at the angle sign (half - 45 degrees); the other three follow.
            angle = sign * (half - math.pi / 4) + np.pi / 2 * np.arange(4)
            plates.append(centre + self.side / math.sqrt(2) * np.column_stack([np.cos(angle), np.sin(angle)]))
            across, up = np.array([x, -sign * y]), np.array([sign * y, x])
            for corner, along in ((across, np.array([1.0, 0.0])), (up, np.array([0.0, 1.0]))):
                ends = centre + corner - reach * along, centre + corner + (self.ligament + reach) * along
                lines.append(np.array(ends))
        struts = tuple(Strut(line, self.width) for line in lines)
        limit = self._narrow * self.side
        period = 2 * pitch
        return Pattern(
            "rotating squares", period, period, struts, tuple(plates), symmetric=True, closing_width=limit
        )


@dataclass(frozen=True)
class _ChiralBase:
    """A chiral cell: round nodes with tangent ligaments.

    Attributes:
        node_radius: Radius r of the nodes, measured to the middle of the ring, mm.
        ligament: Length L of the ligaments between their points of tangency, mm.
        width: Width of ligaments and rings, mm.
        node: ``"ring"`` or ``"disc"`` (a solid node).

    Raises:
        InputError: If a length is outside its range or the kind of node is unknown.
    """

    kind: ClassVar[str]
    symmetric: ClassVar[bool]

    node_radius: float
    ligament: float
    width: float
    node: str = "ring"

    def __post_init__(self) -> None:
        within("node_radius", self.node_radius, above=0.0, unit="mm")
        within("ligament", self.ligament, above=0.0, unit="mm")
        why = "the radius of the nodes"
        within("width", self.width, above=0.0, below=self.node_radius, unit="mm", why=why)
        one_of("node", self.node, NODES)

    @property
    def gap(self) -> float:
        """Strut width at which neighbouring nodes would touch, mm."""
        return self.ligament

    def _with_nodes(
        self,
        period: tuple[float, float],
        lines: list[FloatArray],
        nodes: list[tuple[FloatArray, NDArray[np.floating]]],
    ) -> Pattern:
        """Add rings or discs at the nodes; rings are divided where ligaments touch them."""
        struts = [Strut(line, self.width) for line in lines]
        plates = []
        for centre, angles in nodes:
            middle = (float(centre[0]), float(centre[1]))
            if self.node == "disc":
                plates.append(arc(middle, self.node_radius + self.width / 2, 0.0, 2 * math.pi)[:-1])
                continue
            ends = np.append(angles, angles[0] + 2 * math.pi)
            struts += [
                Strut(arc(middle, self.node_radius, float(a), float(b)), self.width)
                for a, b in pairwise(ends)
            ]
        limit = min(self.node_radius, self.gap)  # the hole of a node or the gap between nodes closes
        return Pattern(
            self.kind, *period, tuple(struts), tuple(plates), symmetric=self.symmetric, closing_width=limit
        )


class Hexachiral(_ChiralBase):
    """Round nodes on a triangular grid, six tangent ligaments each (Prall and Lakes 1997, from memory)."""

    kind = "hexachiral"
    symmetric = False

    def pattern(self) -> Pattern:
        """Return the pattern of one period: two nodes."""
        pitch = math.hypot(self.ligament, 2 * self.node_radius)
        angle_sign = math.atan2(2 * self.node_radius, self.ligament)
        row = pitch * math.sqrt(3) / 2
        centres = [np.array([0.5 * pitch, 0.5 * row]), np.array([pitch, 1.5 * row])]
        lines = []
        for centre in centres:
            for direction in math.pi / 3 * np.arange(3):
                along = np.array([math.cos(direction - angle_sign), math.sin(direction - angle_sign)])
                tangency = centre + self.node_radius * np.array([-along[1], along[0]])
                lines.append(np.array([tangency, tangency + self.ligament * along]))
        six = math.pi / 2 - angle_sign + math.pi / 3 * np.arange(6)
        nodes = [(centre, six) for centre in centres]
        return self._with_nodes((pitch, 2 * row), lines, nodes)


class AntiTetrachiral(_ChiralBase):
    """Round nodes on a square grid that rotate in alternate directions, with tangent ligaments; auxetic.

    The length of the ligaments is the pitch of the grid.
    """

    kind = "anti-tetrachiral"
    symmetric = True

    def __post_init__(self) -> None:
        super().__post_init__()
        within(
            "ligament",
            self.ligament,
            above=2 * self.node_radius + 2 * self.width,
            unit="mm",
            why="neighbouring nodes touch at 2 node_radius + 2 width",
        )

    @property
    def gap(self) -> float:
        """Strut width at which neighbouring nodes would touch, mm."""
        return (self.ligament - 2 * self.node_radius) / 2

    def pattern(self) -> Pattern:
        """Return the pattern of one period: four nodes, mirror lines through the middles of ligaments."""
        lines, nodes = [], []
        for i, j in np.ndindex(2, 2):
            centre = self.ligament * np.array([i + 0.5, j + 0.5])
            sign = 1.0 if (i + j) % 2 == 0 else -1.0
            for offset, along in (((0.0, sign), (1.0, 0.0)), ((-sign, 0.0), (0.0, 1.0))):
                tangency = centre + self.node_radius * np.array(offset)
                lines.append(np.array([tangency, tangency + self.ligament * np.array(along)]))
            nodes.append((centre, math.pi / 2 * np.arange(4)))
        return self._with_nodes((2 * self.ligament, 2 * self.ligament), lines, nodes)


@dataclass(frozen=True)
class SinusoidalLigaments:
    """A square grid whose ligaments are half sine waves, so that its nodes rotate in alternate directions.

    Attributes:
        spacing: Distance between nodes, mm.
        amplitude: Amplitude of the waves, mm; 0 gives a square grid.
        width: Width of the ligaments, mm.

    Raises:
        InputError: If a length is outside its range.
    """

    spacing: float
    amplitude: float
    width: float

    def __post_init__(self) -> None:
        within("spacing", self.spacing, above=0.0, unit="mm")
        within("width", self.width, above=0.0, below=self.spacing / 2, unit="mm", why="spacing / 2")
        most = min(0.4 * self.spacing, (self.spacing - 2 * self.width) / 2)
        why = "ligaments that bend towards each other would touch"
        within("amplitude", self.amplitude, least=0.0, most=most, unit="mm", why=why)

    def pattern(self) -> Pattern:
        """Return the pattern of one period: four nodes, mirror lines through the middles of ligaments."""
        s, wave = self.spacing, np.linspace(0.0, 1.0, _SAMPLES)
        bow = self.amplitude * np.sin(math.pi * wave)
        struts = []
        for i, j in np.ndindex(2, 2):
            sign = 1.0 if (i + j) % 2 == 0 else -1.0
            node = s * np.array([i + 0.5, j + 0.5])
            struts.append(Strut(node + np.column_stack([s * wave, sign * bow]), self.width))
            struts.append(Strut(node + np.column_stack([-sign * bow, s * wave]), self.width))
        limit = min(s / 2 - self.amplitude, s / 2)
        return Pattern("sinusoidal", 2 * s, 2 * s, tuple(struts), symmetric=True, closing_width=limit)
