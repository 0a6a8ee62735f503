# SPDX-License-Identifier: MIT
"""Moves of a nozzle: trails printed layer by layer, and the travel between them."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from annelid.geometry.body import FloatArray
from annelid.geometry.lattice.chart import PERIOD, SurfacePoints
from annelid.geometry.lattice.wrapping import Lattice
from annelid.geometry.printing.machines import MACHINES, Machine
from annelid.geometry.printing.settings import PrinterSettings

_SHORTEST = 1e-3  # mm; shorter steps are omitted
_MAX_HALVINGS = 14


@dataclass(frozen=True)
class Move:
    """An uninterrupted move of the nozzle.

    Attributes:
        printing: Whether the nozzle prints; otherwise it travels to the next line.
        lifted: Whether the nozzle is lifted by the clearance.
        layer: Number of the layer, from 0.
        points: u and v of the points of the move, shape (k, 2); u continues over whole turns.
        height: Height of the tip of the nozzle over the surface of the lattice, mm.
        poses: Positions of the tip, and directions from the surface to the nozzle.
    """

    printing: bool
    lifted: bool
    layer: int
    points: FloatArray
    height: float
    poses: SurfacePoints

    @cached_property
    def steps(self) -> FloatArray:
        """Distances of the tip between successive points, shape (k - 1,), mm."""
        return np.asarray(np.linalg.norm(np.diff(self.poses.position, axis=0), axis=1))

    @property
    def length(self) -> float:
        """Length of the path of the tip, mm."""
        return float(self.steps.sum())

    def axes(self, machine: Machine) -> FloatArray:
        """Return the axis positions of a machine, shape (k, axes)."""
        return machine.to_axes(*self.poses, self.points[:, 0])


def moves_of(
    lattice: Lattice, settings: PrinterSettings, curves: Sequence[FloatArray], layers: int
) -> Iterator[Move]:
    """Yield moves that print curves of the chart, and travel moves between them, layer by layer."""
    machine = MACHINES[settings.machine]
    low, high = lattice.heights
    last: FloatArray | None = None
    for layer in range(layers):
        height = low + (high - low) * layer / layers + settings.stand_off
        new = True
        for curve in curves:
            if last is not None:
                turns = np.round((last[0] - curve[0, 0]) / PERIOD)
                curve = curve + np.array([turns * PERIOD, 0.0])
                travel = np.array([last, curve[0]])
                hop = _move(lattice, machine, travel, height, settings.tolerance)
                if hop.length <= settings.hop and not new:
                    yield replace(hop, layer=layer)
                else:
                    lifted = _move(lattice, machine, travel, high + settings.clearance, 0.1)
                    yield replace(lifted, layer=layer, lifted=True)
            printed = _move(lattice, machine, curve, height, settings.tolerance)
            yield replace(printed, layer=layer, printing=True)
            last, new = curve[-1], False


def _move(
    lattice: Lattice,
    machine: Machine,
    points: FloatArray,
    height: float,
    tolerance: float,
) -> Move:
    """A travel move with enough points that linear motion of all axes between them is within tolerance."""
    chart = lattice.chart
    poses = chart.place(points, height)
    for _ in range(_MAX_HALVINGS):
        axes = machine.to_axes(*poses, points[:, 0])
        middle = (points[1:] + points[:-1]) / 2
        target = chart.place(middle, height)
        deviation = np.linalg.norm(machine.tip((axes[1:] + axes[:-1]) / 2) - target.position, axis=1)
        split = np.flatnonzero(deviation > tolerance / 2)
        if len(split) == 0:
            break
        points = np.insert(points, split + 1, middle[split], axis=0)
        poses = SurfacePoints(
            *(np.insert(a, split + 1, b[split], axis=0) for a, b in zip(poses, target, strict=True))
        )
    step = np.linalg.norm(np.diff(poses.position, axis=0), axis=1)
    kept = np.concatenate([[True], step > _SHORTEST])
    kept[-1] = True
    return Move(
        False, False, 0, points[kept], height, SurfacePoints(poses.position[kept], poses.normal[kept])
    )
