# SPDX-License-Identifier: MIT
"""The tool path of a lattice: printed lines in an order with few lifts, and the ways between them."""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import NamedTuple

import numpy as np

from geometry.body import FloatArray, IntArray
from geometry.chart import PERIOD, Spot
from geometry.checks import within
from geometry.errors import InputError
from geometry.laying import Lattice
from geometry.machines import MACHINES, Machine
from geometry.print_lines import PrintLine, beads, print_lines
from geometry.trails import Step, fewest, trails

_SAME = 1e-7  # ends of lines nearer to each other than this, rad, are one node
_SHORTEST = 1e-3  # mm; shorter moves are left out
_HALVINGS = 14


@dataclass(frozen=True)
class Printing:
    """How a lattice is printed.

    Attributes:
        machine: ``"rotary"`` or ``"five-axis"``.
        nozzle: Width of a printed line, mm.
        layer: Thickness of a layer, mm; a whole number of layers as thick as comes nearest is printed.
        stand_off: Distance of the nozzle from the surface it prints on, mm.
        feed: Speed over the surface while printing, mm/s.
        travel: Speed between printed lines, mm/s.
        clearance: Height over the printed lattice at which the nozzle travels, mm.
        tolerance: Largest distance of the path from the line it stands for, mm.

    Raises:
        InputError: If a number is outside its range or the machine unknown.
    """

    machine: str = "rotary"
    nozzle: float = 0.4
    layer: float = 0.2
    stand_off: float = 0.2
    feed: float = 8.0
    travel: float = 30.0
    clearance: float = 5.0
    tolerance: float = 0.01

    def __post_init__(self) -> None:
        if self.machine not in MACHINES:
            raise InputError(f"printing.machine = {self.machine!r}: choose one of {', '.join(MACHINES)}")
        for name in ("nozzle", "layer", "clearance", "tolerance"):
            within(f"printing.{name}", getattr(self, name), above=0.0, unit="mm")
        within("printing.stand_off", self.stand_off, least=0.0, unit="mm")
        for name in ("feed", "travel"):
            within(f"printing.{name}", getattr(self, name), above=0.0, unit="mm/s")


class Move(NamedTuple):
    """An unbroken move of the nozzle.

    Attributes:
        printing: Whether it prints; else it travels at the clearance.
        layer: Layer, from 0.
        points: u and v of its points, shape (k, 2); u goes on over whole turns.
        height: Height of the nozzle's tip over the lattice's surface, mm.
        spots: The tip's places, and the directions from surface to nozzle.
    """

    printing: bool
    layer: int
    points: FloatArray
    height: float
    spots: Spot

    @property
    def length(self) -> float:
        """Length of the tip's way, mm."""
        return float(np.linalg.norm(np.diff(self.spots.position, axis=0), axis=1).sum())


@dataclass(frozen=True)
class ToolPath:
    """Moves in their order, and the lines they draw.

    Attributes:
        lattice: What is printed.
        printing: How.
        lines: Lines of one layer.
        order: Number of the trail that draws each line.
        moves: Printing moves and travels by turns, layer by layer.
        layers: Number of layers.
        fewest: Least number of trails a layer needs.
    """

    lattice: Lattice
    printing: Printing
    lines: tuple[PrintLine, ...]
    order: IntArray
    moves: tuple[Move, ...]
    layers: int
    fewest: int

    @property
    def lifts(self) -> int:
        """How often the nozzle is lifted between printed lines, in all layers."""
        return sum(move.printing for move in self.moves) - 1

    @cached_property
    def printed(self) -> float:
        """Length of the printed lines, mm."""
        return sum(move.length for move in self.moves if move.printing)

    @cached_property
    def travelled(self) -> float:
        """Length of the ways between them, lifting and lowering included, mm."""
        ways = [move.length for move in self.moves if not move.printing]
        return sum(ways) + 2 * self.printing.clearance * len(ways)

    @property
    def duration(self) -> float:
        """Estimated time, s: lengths over speeds, without acceleration."""
        return self.printed / self.printing.feed + self.travelled / self.printing.travel

    @cached_property
    def steepest(self) -> float:
        """Largest angle between the surface's normal and the nozzle of a rotary machine, degrees."""
        rise = [np.abs(move.spots.normal[:, 2]).max() for move in self.moves if move.printing]
        return float(np.degrees(np.arcsin(min(1.0, max(rise)))))


def tool_path(lattice: Lattice, printing: Printing) -> ToolPath:
    """Return the tool path of a lattice, layer by layer, with as few lifts a layer as its nodes allow.

    Raises:
        InputError: If the lattice lies inside the part, or the nozzle does not fit its struts.
    """
    if lattice.side == "inside":
        raise InputError(
            'lattice.side = "inside": no nozzle reaches there; print it outside of a core, as a lattice of '
            "that core's shape",
            key="lattice.side",
        )
    lines = print_lines(lattice, printing.nozzle)
    drawn = [
        (number, bead) for number, line in enumerate(lines) for bead in range(beads(line, printing.nozzle))
    ]
    ends, places = _nodes(lattice, [lines[number] for number, _ in drawn])
    found = trails(ends, places)
    layers = max(1, round(lattice.height / printing.layer))
    curves = [_curve(lattice, lines, drawn, trail, printing.nozzle) for trail in found]
    order = np.zeros(len(lines), dtype=np.int64)
    for number, trail in enumerate(found):
        order[[drawn[step.line][0] for step in trail]] = number
    moves = _moves(lattice, printing, curves, layers)
    return ToolPath(lattice, printing, lines, order, tuple(moves), layers, fewest(ends))


def _nodes(lattice: Lattice, lines: Sequence[PrintLine]) -> tuple[IntArray, FloatArray]:
    """Number the ends of lines, those at one place alike; return them and the places."""
    from scipy.sparse import coo_array
    from scipy.sparse.csgraph import connected_components
    from scipy.spatial import cKDTree

    tips = np.concatenate([line.points[[0, -1]] for line in lines])
    rolled = np.column_stack([np.cos(tips[:, 0]), np.sin(tips[:, 0]), tips[:, 1]])
    near = cKDTree(rolled).query_pairs(_SAME, output_type="ndarray")
    same = coo_array((np.ones(len(near)), near.T), shape=(len(tips), len(tips)))
    labels = connected_components(same, directed=False)[1].astype(np.int64)
    first = np.unique(labels, return_index=True)[1]
    return labels.reshape(-1, 2), lattice.chart.place(tips[first]).position


def _curve(
    lattice: Lattice,
    lines: Sequence[PrintLine],
    drawn: Sequence[tuple[int, int]],
    trail: Sequence[Step],
    nozzle: float,
) -> FloatArray:
    """The points of a trail in the chart, u going on over whole turns."""
    pieces: list[FloatArray] = []
    for step in trail:
        number, bead = drawn[step.line]
        line = lines[number]
        points = _aside(lattice, line.points, (bead - (beads(line, nozzle) - 1) / 2) * nozzle)
        points = points if step.forward else points[::-1]
        if pieces:
            turns = np.round((pieces[-1][-1, 0] - points[0, 0]) / PERIOD)
            points = points + np.array([turns * PERIOD, 0.0])
        pieces.append(points)
    curve = np.concatenate(pieces)
    kept = np.concatenate([[True], np.linalg.norm(np.diff(curve, axis=0), axis=1) > _SAME])
    return curve[kept]


def _aside(lattice: Lattice, points: FloatArray, distance: float) -> FloatArray:
    """A line of the chart moved to its left by a distance in mm."""
    if distance == 0.0:
        return points
    along = np.gradient(points, axis=0)
    across = np.column_stack([-along[:, 1], along[:, 0]]) / np.linalg.norm(along, axis=1)[:, None]
    return points + distance / lattice.chart.scale(points)[:, None] * across


def _moves(lattice: Lattice, printing: Printing, curves: Sequence[FloatArray], layers: int) -> list[Move]:
    machine, moves = MACHINES[printing.machine], []
    low, high = lattice.heights
    last: FloatArray | None = None
    for layer in range(layers):
        height = low + (high - low) * layer / layers + printing.stand_off
        for curve in curves:
            if last is not None:
                turns = np.round((last[0] - curve[0, 0]) / PERIOD)
                curve = curve + np.array([turns * PERIOD, 0.0])
                way = np.array([last, curve[0]])
                moves.append(_move(lattice, machine, way, high + printing.clearance, layer, 0.1))
            moves.append(_move(lattice, machine, curve, height, layer, printing.tolerance, printing=True))
            last = curve[-1]
    return moves


def _move(
    lattice: Lattice,
    machine: Machine,
    points: FloatArray,
    height: float,
    layer: int,
    tolerance: float,
    *,
    printing: bool = False,
) -> Move:
    """A move with so many points that straight motion of all axes between them keeps to the tolerance."""
    chart = lattice.chart
    spots = chart.place(points, height)
    for _ in range(_HALVINGS):
        axes = machine.to_axes(*spots, points[:, 0])
        middle = (points[1:] + points[:-1]) / 2
        meant = chart.place(middle, height)
        off = np.linalg.norm(machine.tip((axes[1:] + axes[:-1]) / 2) - meant.position, axis=1)
        split = np.flatnonzero(off > tolerance / 2)
        if len(split) == 0:
            break
        points = np.insert(points, split + 1, middle[split], axis=0)
        spots = Spot(*(np.insert(a, split + 1, b[split], axis=0) for a, b in zip(spots, meant, strict=True)))
    step = np.linalg.norm(np.diff(spots.position, axis=0), axis=1)
    kept = np.concatenate([[True], step > _SHORTEST])
    kept[-1] = True
    return Move(printing, layer, points[kept], height, Spot(spots.position[kept], spots.normal[kept]))
