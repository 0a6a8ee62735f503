# SPDX-License-Identifier: MIT
"""Revolve a meridian mesh: rings of hexahedra, and O-grid discs where the part reaches the axis."""

import math
from typing import NamedTuple

import numpy as np

from annelid.geometry.body import FloatArray, IntArray
from annelid.geometry.elements import ELEMENT_NODES, node_at
from annelid.geometry.meshing.mapped_plane import MappedPlane
from annelid.geometry.meshing.mesh_size import MeshSize
from annelid.geometry.meshing.o_grid import DiscMesh, block_count, mesh_disc
from annelid.geometry.meshing.plane_mesh import PlaneMesh


class SweptMesh(NamedTuple):
    """A mesh in space with its coordinates on the grid of the layout.

    Attributes:
        grid: Grid coordinates of the nodes in half elements, shape (n, 2).
        angle: Angle of the nodes about the axis, radians, shape (n,); 0 on the axis.
        cells: Nodes of each ``hexahedron27``, shape (m, 27).
        patches: Patch (i, j) of each cell, shape (m, 2).
    """

    grid: FloatArray
    angle: FloatArray
    cells: IntArray
    patches: IntArray


def covered_angle(size: MeshSize) -> float:
    """Return the angle about the axis covered by the model, radians."""
    return 2 * math.pi if size.model == "solid" else math.radians(size.sector)


def sweep(
    mapped: MappedPlane, plane: PlaneMesh, size: MeshSize, limits: FloatArray | None = None
) -> SweptMesh:
    """Sweep the meridian mesh about the axis.

    Args:
        mapped: The layout.
        plane: Its mesh.
        size: Model and element sizes.
        limits: Angles from 0 to 2π at which the mesh has cell edges, ascending, radians.
    """
    angles = _station_angles(size, np.zeros(0) if limits is None else limits, reaches_axis=bool(mapped.axis))
    around = len(angles) // 2
    stations = 2 * around if size.model == "solid" else 2 * around + 1
    at_axis = {patch for patch in mapped.regions if mapped.on_axis(patch) is not None}
    ring = np.ones((len(mapped.columns), len(mapped.rows)), dtype=bool)
    for patch in at_axis:
        ring[patch] = False
    in_ring = ring[plane.patches[:, 0], plane.patches[:, 1]]
    blocks = [
        SweptMesh(
            np.repeat(plane.nodes, stations, axis=0).astype(np.float64),
            np.tile(angles[:stations], len(plane.nodes)),
            _ring_cells(plane.cells[in_ring], around, stations),
            np.repeat(plane.patches[in_ring], around, axis=0),
        )
    ]
    for side in mapped.axis:
        patches = [patch for patch in sorted(at_axis) if mapped.on_axis(patch) == side]
        first_free = sum(len(block.grid) for block in blocks)
        blocks.append(_disc_block(mapped, plane, side, patches, (angles, stations, first_free)))
    return _used_only(SweptMesh(*(np.concatenate(parts) for parts in zip(*blocks, strict=True))))


def _station_angles(size: MeshSize, limits: FloatArray, *, reaches_axis: bool) -> FloatArray:
    """Return the angles of the nodes around the modelled piece, its end included, radians.

    Elements are of one size between successive limits.
    """
    angle = covered_angle(size)
    if size.model == "solid":
        start = float(limits[0]) if len(limits) else 0.0
        edges = np.append(limits, start + angle) if len(limits) else np.array([0.0, angle])
    else:
        edges = np.concatenate([[0.0], limits[(limits > 0.0) & (limits < angle)], [angle]])
    spans = np.diff(edges)
    counts = np.maximum(1, np.round(size.around * spans / (2 * math.pi))).astype(np.int64)
    while reaches_axis and counts.sum() % (2 * block_count(angle)):
        counts[np.argmax(spans / counts)] += 1
    steps = np.repeat(spans / (2 * counts), 2 * counts)
    within = np.concatenate([np.arange(2 * count) for count in counts])
    return np.append(np.repeat(edges[:-1], 2 * counts) + within * steps, edges[-1])


def _ring_cells(quads: IntArray, around: int, stations: int) -> IntArray:
    """Sweep quadrilaterals about the axis; node p at station k has the number p * stations + k."""
    reference = ELEMENT_NODES["hexahedron27"]
    # Axes of the hexahedron: outward, around, along (right-handed).
    of_quad = [node_at(ELEMENT_NODES["quad9"], node[[0, 2]]) for node in reference]
    ahead = np.rint(2 * reference[:, 1]).astype(np.int64)
    station = (2 * np.arange(around)[:, None] + ahead) % stations
    return (quads[:, None, of_quad] * stations + station[None]).reshape(-1, len(reference))


def _disc_block(
    mapped: MappedPlane,
    plane: PlaneMesh,
    side: int,
    patches: list[tuple[int, int]],
    frame: tuple[FloatArray, int, int],
) -> SweptMesh:
    """Stack O-grid discs along a side of the plane on the axis.

    The disc spans the first grid interval from the axis (``across``); discs are stacked in the other grid
    direction (``stack``) over the given patches. The rim nodes are those of the ring of hexahedra.
    """
    around_rim, stations, first_free = frame
    angle, around = float(around_rim[-1] - around_rim[0]), len(around_rim) // 2
    across, stack = (0, 1) if side == 0 else (1, 0)
    counts = (mapped.columns, mapped.rows)
    span = int(counts[across][-1 if side == 3 else 0])
    levels = 2 * int(counts[stack].sum()) + 1
    disc = mesh_disc(angle, around, max(1, span // 2))
    start = 2.0 * counts[across].sum() if side == 3 else 0.0
    inward = start + (-2.0 if side == 3 else 2.0) * span * disc.radius

    grid = np.empty((len(disc.radius), levels, 2))
    grid[..., across] = inward[:, None]
    grid[..., stack] = np.arange(levels)
    number = first_free + np.arange(grid[..., 0].size).reshape(len(disc.radius), levels)
    number[disc.rim] = _ring_numbers(plane, grid[disc.rim[0]], stations, len(disc.rim))

    cells, owner = [], []
    bounds = np.concatenate([[0], np.cumsum(counts[stack])])
    for patch in patches:
        steps = np.arange(bounds[patch[stack]], bounds[patch[stack] + 1])
        cells.append(_stacked(disc, number, steps, reverse=side == 2))
        owner.append(np.repeat(np.array([patch]), len(cells[-1]), axis=0))
    angles = np.repeat(_disc_angles(disc, around_rim), levels)
    return SweptMesh(grid.reshape(-1, 2), angles, np.concatenate(cells), np.concatenate(owner))


def _disc_angles(disc: DiscMesh, around_rim: FloatArray) -> FloatArray:
    """Angles of the nodes of a disc: those of the ring on its rim, evenly spaced ones near its centre."""
    even = np.linspace(0.0, around_rim[-1] - around_rim[0], len(around_rim))
    ahead = np.interp(disc.angle, even, around_rim - around_rim[0] - even)
    angle = around_rim[0] + disc.angle + disc.radius**2 * ahead
    return np.where(disc.radius == 0.0, 0.0, angle)


def _ring_numbers(plane: PlaneMesh, rim_grid: FloatArray, stations: int, rim: int) -> IntArray:
    """Return the ring's node numbers at the rim, shape (rim nodes, levels); -1 where there is no level."""
    height = int(plane.nodes[:, 1].max()) + 1
    lookup = np.full((int(plane.nodes[:, 0].max()) + 1) * height, -1, dtype=np.int64)
    lookup[plane.nodes[:, 0] * height + plane.nodes[:, 1]] = np.arange(len(plane.nodes))
    index = np.rint(rim_grid).astype(np.int64)
    node = lookup[index[:, 0] * height + index[:, 1]]
    return node * stations + np.arange(rim)[:, None]


def _stacked(disc: DiscMesh, number: IntArray, steps: IntArray, *, reverse: bool) -> IntArray:
    """Return the hexahedra over the disc's cells between levels 2 step and 2 step + 2.

    At a low pole the outward direction of the wall is down the axis, so the disc is reversed.
    """
    reference = ELEMENT_NODES["hexahedron27"]
    flat = reference[:, [1, 0]] if reverse else reference[:, [0, 1]]
    of_quad = [node_at(ELEMENT_NODES["quad9"], node) for node in flat]
    ahead = np.rint(2 * reference[:, 2]).astype(np.int64)
    level = 2 * steps[:, None] + ahead
    return number[disc.cells[:, None, of_quad], level[None]].reshape(-1, len(reference))


def _used_only(mesh: SweptMesh) -> SweptMesh:
    used, cells = np.unique(mesh.cells, return_inverse=True)
    return SweptMesh(mesh.grid[used], mesh.angle[used], cells.reshape(mesh.cells.shape), mesh.patches)


def cylindrical_to_cartesian(flat: FloatArray, angle: FloatArray) -> FloatArray:
    """Convert R, Z components (n, 2) at angles about the axis to X, Y, Z components (n, 3)."""
    return np.column_stack([flat[:, 0] * np.cos(angle), flat[:, 0] * np.sin(angle), flat[:, 1]])
