# SPDX-License-Identifier: MIT
"""The O-grid: a disc, or a sector of one, filled with quadrilaterals that do not crowd at the centre."""

import math
from typing import NamedTuple

import numpy as np

from annelid.geometry.body import FloatArray, IntArray
from annelid.geometry.elements import ELEMENT_NODES

_SAME_SPOT = 1e-8  # of the disc's radius


class Disc(NamedTuple):
    """A mesh of the unit disc or of a sector of it, from angle 0 on.

    Attributes:
        radius: Distance of each node from the centre, shape (n,); exactly 1 on the rim, 0 at the centre.
        angle: Angle of each node, radians, shape (n,); 0 at the centre.
        cells: Nodes of each ``quad9``, counter-clockwise, shape (m, 9).
        rim: Nodes on the rim, mid-side nodes too, in order of their angle.
    """

    radius: FloatArray
    angle: FloatArray
    cells: IntArray
    rim: IntArray


def kites(opening: float) -> int:
    """Return how many kites of about a right angle a sector of ``opening`` radians is cut into."""
    return max(1, round(opening / (math.pi / 2)))


def mesh_disc(opening: float, around: int, rings: int) -> Disc:
    """Mesh a sector of the unit disc with ``around`` elements on its rim.

    Each kite reaches from the centre to part of the way; ``rings`` layers of elements lie between the
    kites and the rim. A full disc (opening 2 pi) closes on itself.

    Args:
        opening: Angle of the sector, radians.
        around: Elements on the rim, a multiple of twice the number of kites.
        rings: Elements between kite and rim.
    """
    count = kites(opening)
    half = around // (2 * count)
    angle = opening / count
    one = _kite_sector(angle, half, rings)
    turned = [one * np.exp(1j * angle * k) for k in range(count)]
    spots = np.concatenate([piece.ravel() for piece in turned])
    nodes, cells = _merged(spots, len(ELEMENT_NODES["quad9"]))
    radius = np.abs(nodes)
    phase = np.where(radius < _SAME_SPOT, 0.0, np.angle(nodes) % (2 * math.pi))
    phase[np.abs(phase - 2 * math.pi) < _SAME_SPOT] = 0.0
    on_rim = np.abs(radius - 1.0) < _SAME_SPOT
    radius = np.where(on_rim, 1.0, np.where(radius < _SAME_SPOT, 0.0, radius))
    rim = np.flatnonzero(on_rim)
    return Disc(radius, phase, cells, rim[np.argsort(phase[rim])])


def _kite_sector(angle: float, half: int, rings: int) -> FloatArray:
    """Return the node positions of all cells of one kite and its two outer blocks, complex, shape (m, 9)."""
    edge = float(np.clip(half / (half + rings), 0.35, 0.65))
    # The kite's outer corner leaves 120 degrees to each of the three blocks that meet there.
    slant = (4 * math.pi / 3 - angle) / 2
    tip = edge * math.sin(slant) / math.sin(math.pi / 3) * np.exp(0.5j * angle)
    start, stop = edge + 0j, edge * np.exp(1j * angle)

    def kite(u: FloatArray, v: FloatArray) -> FloatArray:
        return np.asarray(u * (1 - v) * start + u * v * tip + (1 - u) * v * stop)

    def first(u: FloatArray, v: FloatArray) -> FloatArray:
        inner = start + v * (tip - start)
        return np.asarray((1 - u) * inner + u * np.exp(0.5j * angle * v))

    def second(u: FloatArray, v: FloatArray) -> FloatArray:
        inner = tip + v * (stop - tip)
        return np.asarray((1 - u) * inner + u * np.exp(0.5j * angle * (1 + v)))

    return np.concatenate(
        [kite(*_lattice(half, half)), first(*_lattice(rings, half)), second(*_lattice(rings, half))]
    )


def _lattice(columns: int, rows: int) -> tuple[FloatArray, FloatArray]:
    """Return the u, v of the nine nodes of all cells on a lattice of the unit square, each (m, 9)."""
    i, j = np.meshgrid(np.arange(columns), np.arange(rows), indexing="ij")
    node = ELEMENT_NODES["quad9"]
    return (i.ravel()[:, None] + node[:, 0]) / columns, (j.ravel()[:, None] + node[:, 1]) / rows


def _merged(spots: FloatArray, per_cell: int) -> tuple[FloatArray, IntArray]:
    """Give spots that coincide one node; return the nodes and the cells."""
    # Cells of the rounding grid are shifted off the symmetric places that nodes like, so that two copies of
    # a node never fall on either side of a boundary.
    place = np.column_stack([spots.real, spots.imag]) / _SAME_SPOT
    _, kept, number = np.unique(np.floor(place + 0.3141592), axis=0, return_index=True, return_inverse=True)
    return spots[kept], number.reshape(-1, per_cell).astype(np.int64)
