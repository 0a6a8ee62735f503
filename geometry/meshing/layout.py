# SPDX-License-Identifier: MIT
"""From a shape and mesh sizes to its mapped plane: blocks of elements and where they are placed."""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import partial, singledispatch
from itertools import pairwise

import numpy as np

from annelid.geometry.body import FloatArray, IntArray
from annelid.geometry.errors import raise_first
from annelid.geometry.meshing.band_placement import placement_findings
from annelid.geometry.meshing.graded import graded
from annelid.geometry.meshing.grid_lines import CLOSE, Heights, Radii, divide, merged, pieces, stack
from annelid.geometry.meshing.mapped_plane import MappedPlane, Place, Placed
from annelid.geometry.meshing.mesh_size import MeshSize
from annelid.geometry.meshing.uneven_wall import UnevenWall
from annelid.geometry.shapes.band import Band, check_bands
from annelid.geometry.shapes.dome_meridian import arc_at_radius
from annelid.geometry.shapes.shape import Shape
from annelid.geometry.shapes.sleeve import Sleeve
from annelid.geometry.shapes.tube import Tube

_X_LOW, _X_HIGH, _Y_LOW, _Y_HIGH = range(4)
_LARGEST_TURN = math.radians(30.0)  # of the meridian along one element, however large ``along`` is


def lay_out(shape: Shape, size: MeshSize, bands: Sequence[Band], lines: Sequence[float]) -> MappedPlane:
    """Return the mapped plane of a shape with grid lines at the band edges and at ``lines`` (mm).

    Raises:
        InvalidValue: A band or line is not on the shape, or bands overlap.
    """
    check_bands(bands, [layer.name for layer in shape.layers], shape.band_range)
    raise_first(placement_findings(bands, shape, size))
    mapped = _layout(shape, size, bands, lines)
    mapped = graded(mapped, size) if size.is_graded else mapped
    return replace(mapped, uneven=_uneven(shape, mapped)) if shape.uneven else mapped


def _uneven(shape: Shape, mapped: MappedPlane) -> UnevenWall:
    """Return the wall of a shape with uneven layers."""
    x = mapped.x[-len(shape.layers) - 1 :]
    low, high = shape.extent if isinstance(shape, Tube | Sleeve) else (mapped.y[0], mapped.y[-1])

    def places(y: FloatArray) -> FloatArray:
        along = np.clip(y, low, high)  # ends of caps and cores are as wide as the wall is there
        return shape.places(mapped.place(np.full(len(y), x[0]), along).position)

    return UnevenWall(shape, x, places)


@singledispatch
def _layout(shape: Shape, size: MeshSize, bands: Sequence[Band], lines: Sequence[float]) -> MappedPlane:
    """Layout of a wall on a meridian; shapes with further regions have one of their own below."""
    meridian, length = shape.meridian, shape.meridian.length
    edges = _edges(shape)
    y = merged(np.concatenate([edges.lines(bands, lines), meridian.arcs(meridian.corners)]), length)
    low_pole, high_pole = meridian.poles
    if size.model != "axisymmetric":
        y = _pole_patches(y, size, low_pole, high_pole)
    x = stack(shape.layers)
    names = [layer.name for layer in shape.layers]
    bends = [math.ceil(meridian.turning(*piece) / _LARGEST_TURN * (1 - CLOSE)) for piece in pairwise(y)]
    rows = np.maximum(divide(y, size.along), bends)
    grid = {(i, j): name for i, name in enumerate(names) for j in range(len(rows))}

    def side_name(i: int, j: int, side: int) -> str:
        low, high = (
            "axis" if pole else end for pole, end in ((low_pole, "end_low"), (high_pole, "end_high"))
        )
        return ("lumen", "outer", low, high)[side]

    def place(x: FloatArray, y: FloatArray) -> Placed:
        frame = meridian.at(y)
        position = frame.position.copy()
        if shape.plane_ends:
            position[:, 0] += x / frame.normal[:, 0]
        else:
            position += x[:, None] * frame.normal
        position[:, 0] = np.where(frame.position[:, 0] == 0.0, 0.0, position[:, 0])
        return Placed(position, frame.normal)

    axis = tuple(side for side, pole in ((_Y_LOW, low_pole), (_Y_HIGH, high_pole)) if pole)
    frame = _Blocks(x, y, np.array([size.through] * len(names)), rows, grid, axis, names)
    return frame.mapped(side_name, place, edges, bands)


def _edges(shape: Shape) -> Heights:
    """How bands and lines are given on a meridian: by heights, on a dome by radii."""
    meridian, (low, high) = shape.meridian, shape.band_range
    ends = (0.0, meridian.length)
    if shape.bands_by_radius:
        return Radii(low, high, locate=partial(arc_at_radius, meridian), ends=ends)
    return Heights(low, high, locate=meridian.arc_at_height, ends=ends)


def _pole_patches(y: FloatArray, size: MeshSize, low: bool, high: bool) -> FloatArray:
    """Add the lines that bound the O-grid discs around closed poles (3-D only)."""
    wanted = (size.around / 8 + 1) * size.along
    added = [y]
    for pole, gap, end, sign in ((low, y[1] - y[0], y[0], 1.0), (high, y[-1] - y[-2], y[-1], -1.0)):
        whole = gap if len(y) > 2 or not (low and high) else gap / 2
        if pole and wanted < 0.6 * whole:
            added.append(np.array([end + sign * wanted]))
        elif pole:
            added.append(np.array([end + sign * whole]))
    return merged(np.concatenate(added), y[-1] - y[0])


@_layout.register
def _tube(shape: Tube, size: MeshSize, bands: Sequence[Band], lines: Sequence[float]) -> MappedPlane:
    capped, length, cap = shape.ends == "capped", shape.length, shape.cap
    edges = Heights(0.0, length)
    y = edges.lines(bands, lines)
    x = shape.inner_radius + stack(shape.layers)
    columns = [size.through] * len(shape.layers)
    rows = divide(y, size.along)
    names: list[str] = [layer.name for layer in shape.layers]
    count = len(rows)
    grid = {(i, j): name for i, name in enumerate(names) for j in range(count)}
    if capped:
        x, y = np.concatenate([[0.0], x]), np.concatenate([[-cap], y, [length + cap]])
        columns = [pieces(shape.inner_radius, size.along), *columns]
        thick = max(size.through, pieces(cap, size.along))
        rows = np.array([thick, *rows, thick])
        grid = {(i + 1, j + 1): name for (i, j), name in grid.items()}
        grid |= {(i, j): "cap" for i in range(len(columns)) for j in (0, count + 1)}

    def side_name(i: int, j: int, side: int) -> str:
        if grid[i, j] != "cap":
            return ("lumen", "outer", "end_low", "end_high")[side]
        if side in (_X_LOW, _X_HIGH):
            return "axis" if side == _X_LOW else "cap_rim"
        outward = (side == _Y_LOW) == (j == 0)
        return ("end_low" if j == 0 else "end_high") if outward else "lumen"

    def place(x: FloatArray, y: FloatArray) -> Placed:
        beyond = np.where((y < 0) | (y == 0) & (x < shape.inner_radius), -1.0, 0.0)
        beyond += np.where((y > length) | (y == length) & (x < shape.inner_radius), 1.0, 0.0)
        return Placed(np.column_stack([x, y]), np.column_stack([1.0 - np.abs(beyond), beyond]))

    frame = _Blocks(x, y, np.array(columns), rows, grid, (_X_LOW,) if capped else (), [*names, "cap"])
    return frame.mapped(side_name, place, edges, bands)


@_layout.register
def _sleeve(shape: Sleeve, size: MeshSize, bands: Sequence[Band], lines: Sequence[float]) -> MappedPlane:
    low, high = shape.extent
    top = shape.core_length
    edges = Heights(low, high, part=(0.0, top))
    y = edges.lines(bands, [*lines, low, high])
    x = np.concatenate([[shape.core_inner_radius], shape.core_radius + stack(shape.layers)])
    solid = shape.core_inner_radius == 0.0
    across = max(2, pieces(shape.core_radius - shape.core_inner_radius, size.across_core or size.along))
    covered = (y[:-1] >= low - CLOSE * top) & (y[1:] <= high + CLOSE * top)
    grid = {(0, j): "core" for j in range(len(covered))}
    names = [layer.name for layer in shape.layers]
    grid |= {(i + 1, int(j)): name for i, name in enumerate(names) for j in np.flatnonzero(covered)}

    def side_name(i: int, j: int, side: int) -> str:
        if i == 0:
            return ("axis" if solid else "lumen", "core_side", "core_end_low", "core_end_high")[side]
        return ("", "outer", "end_low", "end_high")[side]

    def place(x: FloatArray, y: FloatArray) -> Placed:
        return Placed(np.column_stack([x, y]), np.column_stack([np.ones_like(x), np.zeros_like(x)]))

    columns = np.array([across] + [size.through] * len(names))
    frame = _Blocks(x, y, columns, divide(y, size.along), grid, (_X_LOW,) if solid else (), ["core", *names])
    return frame.mapped(side_name, place, edges, bands)


@dataclass(frozen=True)
class _Blocks:
    """The blocks of a mapped plane, before free sides and bands are named."""

    x: FloatArray
    y: FloatArray
    columns: IntArray
    rows: IntArray
    grid: dict[tuple[int, int], str]
    axis: tuple[int, ...]
    order: list[str]

    def mapped(
        self, side_name: Callable[[int, int, int], str], place: Place, edges: Heights, bands: Sequence[Band]
    ) -> MappedPlane:
        """Name the free sides, find the patches of the bands, and put the mapped plane together."""
        steps = ((-1, 0), (1, 0), (0, -1), (0, 1))
        outside = {
            (i, j, side): side_name(i, j, side)
            for (i, j) in self.grid
            for side, (di, dj) in enumerate(steps)
            if (i + di, j + dj) not in self.grid
        }
        middle = (self.y[:-1] + self.y[1:]) / 2
        patches = {}
        for band in bands:
            low, high = edges.of_band(band)
            patches[band.name] = tuple(
                (i, j)
                for (i, j), region in self.grid.items()
                if region == band.region and low < middle[j] < high
            )
        rank = {name: number for number, name in enumerate(self.order)}
        return MappedPlane(
            self.x, self.y, self.columns, self.rows, self.grid, outside, self.axis, rank, patches, place
        )
