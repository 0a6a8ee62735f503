# SPDX-License-Identifier: MIT
"""O-grids: quadrilateral meshes of a disc, or of a sector of one, without crowded cells at the centre."""

import math
from typing import NamedTuple

import numpy as np

from annelid.geometry.body import FloatArray, IntArray
from annelid.geometry.elements import ELEMENT_NODES

_SAME_POINT = 1e-8  # of the radius of the disc


class DiscMesh(NamedTuple):
    """A mesh of the unit disc or of a sector of it that begins at angle 0.

    Attributes:
        radius: Distance of each node from the centre, shape (n,); exactly 1 on the rim, 0 at the centre.
        angle: Angle of each node, radians, shape (n,); 0 at the centre.
        cells: Nodes of each ``quad9``, counter-clockwise, shape (m, 9).
        rim: Nodes on the rim, including mid-side nodes, in order of their angles.
    """

    radius: FloatArray
    angle: FloatArray
    cells: IntArray
    rim: IntArray


def block_count(sector_angle: float) -> int:
    """Return the number of blocks of about 90 degrees in a sector with an angle in radians."""
    return max(1, round(sector_angle / (math.pi / 2)))


def mesh_disc(sector_angle: float, around: int, rings: int) -> DiscMesh:
    """Mesh a sector of the unit disc with ``around`` elements on its rim.

    Each block has an inner quadrilateral with one corner at the centre; ``rings`` layers of elements lie
    between the inner quadrilaterals and the rim. A full disc (angle 2 pi) is closed.

    Args:
        sector_angle: Angle of the sector, radians.
        around: Elements on the rim, a multiple of twice the number of blocks.
        rings: Elements between the inner quadrilaterals and the rim.
    """
    count = block_count(sector_angle)
    half = around // (2 * count)
    angle = sector_angle / count
    one = _block(angle, half, rings)
    rotated = [one * np.exp(1j * angle * k) for k in range(count)]
    points = np.concatenate([piece.ravel() for piece in rotated])
    nodes, cells = _merged(points, len(ELEMENT_NODES["quad9"]))
    radius = np.abs(nodes)
    phase = np.where(radius < _SAME_POINT, 0.0, np.angle(nodes) % (2 * math.pi))
    phase[np.abs(phase - 2 * math.pi) < _SAME_POINT] = 0.0
    on_rim = np.abs(radius - 1.0) < _SAME_POINT
    radius = np.where(on_rim, 1.0, np.where(radius < _SAME_POINT, 0.0, radius))
    rim = np.flatnonzero(on_rim)
    return DiscMesh(radius, phase, cells, rim[np.argsort(phase[rim])])


def _block(angle: float, half: int, rings: int) -> FloatArray:
    """Return the node positions of all cells of one block as complex numbers, shape (m, 9)."""
    edge = float(np.clip(half / (half + rings), 0.35, 0.65))
    # At the outer corner of the inner quadrilateral three parts meet at 120 degrees each.
    slant = (4 * math.pi / 3 - angle) / 2
    tip = edge * math.sin(slant) / math.sin(math.pi / 3) * np.exp(0.5j * angle)
    start, stop = edge + 0j, edge * np.exp(1j * angle)

    def inner(u: FloatArray, v: FloatArray) -> FloatArray:
        return np.asarray(u * (1 - v) * start + u * v * tip + (1 - u) * v * stop)

    def first(u: FloatArray, v: FloatArray) -> FloatArray:
        edge_point = start + v * (tip - start)
        return np.asarray((1 - u) * edge_point + u * np.exp(0.5j * angle * v))

    def second(u: FloatArray, v: FloatArray) -> FloatArray:
        edge_point = tip + v * (stop - tip)
        return np.asarray((1 - u) * edge_point + u * np.exp(0.5j * angle * (1 + v)))

    return np.concatenate(
        [inner(*_grid(half, half)), first(*_grid(rings, half)), second(*_grid(rings, half))]
    )


def _grid(columns: int, rows: int) -> tuple[FloatArray, FloatArray]:
    """Return u and v of the nine nodes of all cells of a grid on the unit square, each (m, 9)."""
    i, j = np.meshgrid(np.arange(columns), np.arange(rows), indexing="ij")
    node = ELEMENT_NODES["quad9"]
    return (i.ravel()[:, None] + node[:, 0]) / columns, (j.ravel()[:, None] + node[:, 1]) / rows


def _merged(points: FloatArray, per_cell: int) -> tuple[FloatArray, IntArray]:
    """Merge coincident points to nodes; return the nodes and the cells."""
    # The rounding grid is shifted off the symmetric positions of nodes, so that copies of a node never fall
    # on different sides of a boundary.
    place = np.column_stack([points.real, points.imag]) / _SAME_POINT
    _, kept, number = np.unique(np.floor(place + 0.3141592), axis=0, return_index=True, return_inverse=True)
    return points[kept], number.reshape(-1, per_cell).astype(np.int64)
