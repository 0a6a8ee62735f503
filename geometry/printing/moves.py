# SPDX-License-Identifier: MIT
"""Moves of a nozzle: trails of the chart printed layer by layer, and the ways between them."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from annelid.geometry.body import FloatArray
from annelid.geometry.lattice.chart import PERIOD, SurfacePoints
from annelid.geometry.lattice.wrapping import Lattice
from annelid.geometry.printing.machines import MACHINES, Machine
from annelid.geometry.printing.settings import Printing

_SHORTEST = 1e-3  # mm; shorter moves are left out
_HALVINGS = 14


@dataclass(frozen=True)
class Move:
    """An unbroken move of the nozzle.

    Attributes:
        printing: Whether it prints; else it goes to the next line.
        lifted: Whether it goes at the clearance.
        layer: Layer, from 0.
        points: u and v of its points, shape (k, 2); u goes on over whole turns.
        height: Height of the nozzle's tip over the lattice's surface, mm.
        spots: The tip's places, and the directions from surface to nozzle.
    """

    printing: bool
    lifted: bool
    layer: int
    points: FloatArray
    height: float
    spots: SurfacePoints

    @cached_property
    def steps(self) -> FloatArray:
        """Lengths of the tip's way between its points, mm, shape (k - 1,)."""
        return np.asarray(np.linalg.norm(np.diff(self.spots.position, axis=0), axis=1))

    @property
    def length(self) -> float:
        """Length of the tip's way, mm."""
        return float(self.steps.sum())

    def axes(self, machine: Machine) -> FloatArray:
        """Return the axis positions of a machine, shape (k, axes)."""
        return machine.to_axes(*self.spots, self.points[:, 0])


def moves_of(
    lattice: Lattice, printing: Printing, curves: Sequence[FloatArray], layers: int
) -> Iterator[Move]:
    """Yield moves that print curves of the chart, and travels between them by turns, layer by layer."""
    machine = MACHINES[printing.machine]
    low, high = lattice.heights
    last: FloatArray | None = None
    for layer in range(layers):
        height = low + (high - low) * layer / layers + printing.stand_off
        new = True
        for curve in curves:
            if last is not None:
                turns = np.round((last[0] - curve[0, 0]) / PERIOD)
                curve = curve + np.array([turns * PERIOD, 0.0])
                way = np.array([last, curve[0]])
                hop = _move(lattice, machine, way, height, printing.tolerance)
                if hop.length <= printing.hop and not new:
                    yield replace(hop, layer=layer)
                else:
                    far = _move(lattice, machine, way, high + printing.clearance, 0.1)
                    yield replace(far, layer=layer, lifted=True)
            drawn = _move(lattice, machine, curve, height, printing.tolerance)
            yield replace(drawn, layer=layer, printing=True)
            last, new = curve[-1], False


def _move(
    lattice: Lattice,
    machine: Machine,
    points: FloatArray,
    height: float,
    tolerance: float,
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
        spots = SurfacePoints(
            *(np.insert(a, split + 1, b[split], axis=0) for a, b in zip(spots, meant, strict=True))
        )
    step = np.linalg.norm(np.diff(spots.position, axis=0), axis=1)
    kept = np.concatenate([[True], step > _SHORTEST])
    kept[-1] = True
    return Move(
        False, False, 0, points[kept], height, SurfacePoints(spots.position[kept], spots.normal[kept])
    )
