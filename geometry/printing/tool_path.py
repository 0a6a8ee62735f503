# SPDX-License-Identifier: MIT
"""The tool path of a lattice: printed lines in an order with few lifts, and the travel between them."""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from annelid.geometry.body import FloatArray, IntArray
from annelid.geometry.errors import InvalidValue
from annelid.geometry.lattice.chart import PERIOD
from annelid.geometry.lattice.wrapping import Lattice
from annelid.geometry.printing.machines import MACHINES
from annelid.geometry.printing.moves import Move, moves_of
from annelid.geometry.printing.print_lines import PrintLine, pass_count, print_lines
from annelid.geometry.printing.settings import PrinterSettings
from annelid.geometry.printing.trails import TrailStep, min_trail_count, trails
from annelid.geometry.printing.travel_time import axis_limits, move_time

_SAME = 1e-7  # ends of lines nearer to each other than this, rad, are one node


@dataclass(frozen=True)
class ToolPath:
    """The moves that print a lattice, in order.

    Attributes:
        lattice: The lattice.
        settings: Settings of the printer.
        lines: Lines of one layer.
        order: Number of the trail that contains each line.
        moves: Printing moves and travel moves, layer by layer.
        layers: Number of layers.
        min_trails: Least possible number of trails per layer.
    """

    lattice: Lattice
    settings: PrinterSettings
    lines: tuple[PrintLine, ...]
    order: IntArray
    moves: tuple[Move, ...]
    layers: int
    min_trails: int

    @property
    def lifts(self) -> int:
        """Number of lifts of the nozzle between printed lines in all layers."""
        return sum(move.lifted for move in self.moves)

    @cached_property
    def printed_length(self) -> float:
        """Total length of the printed lines, mm."""
        return sum(move.length for move in self.moves if move.printing)

    @cached_property
    def travel_length(self) -> float:
        """Total length of travel, including lifting and lowering, mm."""
        lengths = [move.length for move in self.moves if not move.printing]
        return sum(lengths) + 2 * self.settings.clearance * self.lifts

    @cached_property
    def duration(self) -> float:
        """Estimated time including acceleration of the axes, s; the flow of material starts at once."""
        settings, machine = self.settings, MACHINES[self.settings.machine]
        limits = axis_limits(settings, machine.axes)
        speeds = {True: settings.feed, False: settings.travel}
        moves = [move_time(m.axes(machine), m.steps, speeds[m.printing], limits) for m in self.moves]
        lift = np.array([settings.clearance])
        upright = np.array([[0.0], [settings.clearance]])
        only = axis_limits(settings, ("Z",))
        lifting = sum(move_time(upright, lift, speed, only) for speed in speeds.values())
        return sum(moves) + self.lifts * lifting

    @cached_property
    def max_tilt(self) -> float:
        """Largest angle between the normal of the surface and the nozzle of a rotary machine, degrees."""
        rise = [np.abs(move.poses.normal[:, 2]).max() for move in self.moves if move.printing]
        return float(np.degrees(np.arcsin(min(1.0, max(rise)))))


def tool_path(lattice: Lattice, settings: PrinterSettings) -> ToolPath:
    """Return the tool path of a lattice, layer by layer, with the least possible number of trails.

    Raises:
        InputError: If the lattice is inside the part, or the nozzle does not fit its struts.
    """
    if lattice.side == "inside":
        raise InvalidValue(
            "a nozzle cannot reach the inside of a part: print the lattice on the outside of a core of this "
            "shape",
            key="side",
            subject="lattice",
        )
    lines = print_lines(lattice, settings.nozzle)
    passes = [
        (number, k) for number, line in enumerate(lines) for k in range(pass_count(line, settings.nozzle))
    ]
    ends, positions = _nodes(lattice, [lines[number] for number, _ in passes])
    ordered = trails(ends, positions)
    layers = max(1, round(lattice.height / settings.layer))
    curves = [_curve(lattice, lines, passes, trail, settings.nozzle) for trail in ordered]
    order = np.zeros(len(lines), dtype=np.int64)
    for number, trail in enumerate(ordered):
        order[[passes[step.line][0] for step in trail]] = number
    moves = moves_of(lattice, settings, curves, layers)
    return ToolPath(lattice, settings, lines, order, tuple(moves), layers, min_trail_count(ends))


def _nodes(lattice: Lattice, lines: Sequence[PrintLine]) -> tuple[IntArray, FloatArray]:
    """Number the ends of lines, giving coincident ends one number; return numbers and positions."""
    from scipy.sparse import coo_array
    from scipy.sparse.csgraph import connected_components
    from scipy.spatial import cKDTree

    tips = np.concatenate([line.points[[0, -1]] for line in lines])
    rolled = np.column_stack([np.cos(tips[:, 0]), np.sin(tips[:, 0]), tips[:, 1]])
    coincident = cKDTree(rolled).query_pairs(_SAME, output_type="ndarray")
    same = coo_array((np.ones(len(coincident)), coincident.T), shape=(len(tips), len(tips)))
    labels = connected_components(same, directed=False)[1].astype(np.int64)
    first = np.unique(labels, return_index=True)[1]
    return labels.reshape(-1, 2), lattice.chart.place(tips[first]).position


def _curve(
    lattice: Lattice,
    lines: Sequence[PrintLine],
    passes: Sequence[tuple[int, int]],
    trail: Sequence[TrailStep],
    nozzle: float,
) -> FloatArray:
    """The points of a trail in the chart, with u continuing over whole turns."""
    pieces: list[FloatArray] = []
    for step in trail:
        number, pass_number = passes[step.line]
        line = lines[number]
        points = _offset(lattice, line.points, (pass_number - (pass_count(line, nozzle) - 1) / 2) * nozzle)
        points = points if step.forward else points[::-1]
        if pieces:
            turns = np.round((pieces[-1][-1, 0] - points[0, 0]) / PERIOD)
            points = points + np.array([turns * PERIOD, 0.0])
        pieces.append(points)
    curve = np.concatenate(pieces)
    kept = np.concatenate([[True], np.linalg.norm(np.diff(curve, axis=0), axis=1) > _SAME])
    return curve[kept]


def _offset(lattice: Lattice, points: FloatArray, distance: float) -> FloatArray:
    """The line of the chart offset to its left by a distance in mm."""
    if distance == 0.0:
        return points
    along = np.gradient(points, axis=0)
    across = np.column_stack([-along[:, 1], along[:, 0]]) / np.linalg.norm(along, axis=1)[:, None]
    return points + distance / lattice.chart.scale(points)[:, None] * across
