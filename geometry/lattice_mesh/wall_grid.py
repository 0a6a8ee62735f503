# SPDX-License-Identifier: MIT
"""The nodes of an axisymmetric mesh of a wall, and of its caps, as grids."""

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from annelid.geometry.body import FloatArray, IntArray
from annelid.geometry.meshing.layout import lay_out
from annelid.geometry.meshing.mesh_size import MeshSize
from annelid.geometry.meshing.plane_mesh import mesh_plane
from annelid.geometry.shapes.shape import Shape


@dataclass(frozen=True)
class WallGrid:
    """The nodes of a wall as a grid.

    Attributes:
        through: Distances from the inner face, ascending, shape (p,), mm.
        along: Arc lengths along the inner face, ascending, shape (q,), mm.
        nodes: Node of the body at each grid point, shape (p, q).
    """

    through: FloatArray
    along: FloatArray
    nodes: IntArray


class CapGrid(NamedTuple):
    """The nodes of a cap as a grid.

    Attributes:
        radius: Distances from the axis, ascending, shape (p,), mm.
        height: Heights Z, ascending, shape (q,), mm.
        nodes: Node of the body at each grid point, shape (p, q).
    """

    radius: FloatArray
    height: FloatArray
    nodes: IntArray


def wall_grid(shape: Shape, size: MeshSize) -> tuple[WallGrid, tuple[CapGrid, ...]]:
    """Return the grids of the nodes of ``build(shape, size)`` for a tube, balloon or dome without a core.

    Returns:
        The grid of the wall, and those of the low and the high cap of a capped tube.
    """
    mapped = lay_out(shape, size, (), ())
    grid = mesh_plane(mapped).nodes
    x, y = mapped.parameters(grid.astype(np.float64))
    nodes = np.full(grid.max(axis=0) + 1, -1, dtype=np.int64)
    nodes[grid[:, 0], grid[:, 1]] = np.arange(len(grid))
    through, across = np.all(nodes >= 0, axis=1), np.all(nodes >= 0, axis=0)
    caps: tuple[IntArray, ...] = ()
    wall = nodes[through]
    if not across.all():  # there are caps, with only the wall between them
        low, high = np.argmin(across) - 1, len(across) - np.argmin(across[::-1])
        caps, wall = (nodes[:, : low + 1], nodes[:, high:]), wall[:, low : high + 1]
    return (
        WallGrid(x[wall[:, 0]] - x[wall[0, 0]], y[wall[0]], wall),
        tuple(CapGrid(x[cap[:, 0]], y[cap[0]], cap) for cap in caps),
    )
