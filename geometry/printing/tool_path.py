# SPDX-License-Identifier: MIT
"""The tool path of a lattice: printed lines in an order with few lifts, and the ways between them."""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from annelid.geometry.body import FloatArray, IntArray
from annelid.geometry.errors import InputError
from annelid.geometry.lattice.chart import PERIOD
from annelid.geometry.lattice.wrapping import Lattice
from annelid.geometry.printing.machines import MACHINES
from annelid.geometry.printing.moves import Move, moves_of
from annelid.geometry.printing.print_lines import PrintLine, beads, print_lines
from annelid.geometry.printing.settings import Printing
from annelid.geometry.printing.trails import Step, fewest, trails
from annelid.geometry.printing.travel_time import limits_of, seconds

_SAME = 1e-7  # ends of lines nearer to each other than this, rad, are one node


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
        return sum(move.lifted for move in self.moves)

    @cached_property
    def printed(self) -> float:
        """Length of the printed lines, mm."""
        return sum(move.length for move in self.moves if move.printing)

    @cached_property
    def travelled(self) -> float:
        """Length of the ways between them, lifting and lowering included, mm."""
        ways = [move.length for move in self.moves if not move.printing]
        return sum(ways) + 2 * self.printing.clearance * self.lifts

    @cached_property
    def duration(self) -> float:
        """Estimated time, s, with what the axes take to gain and lose speed; filaments start at once."""
        printing, machine = self.printing, MACHINES[self.printing.machine]
        limits = limits_of(printing, machine.axes)
        speeds = {True: printing.feed, False: printing.travel}
        moves = [seconds(m.axes(machine), m.steps, speeds[m.printing], limits) for m in self.moves]
        lift = np.array([printing.clearance])
        upright = np.array([[0.0], [printing.clearance]])
        only = limits_of(printing, ("Z",))
        lifting = sum(seconds(upright, lift, speed, only) for speed in speeds.values())
        return sum(moves) + self.lifts * lifting

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
    moves = moves_of(lattice, printing, curves, layers)
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
