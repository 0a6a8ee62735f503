# SPDX-License-Identifier: MIT
"""Lay out shapes as grids of patches in a parameter plane."""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import partial
from itertools import pairwise

import numpy as np

from annelid.geometry.body import FloatArray, IntArray
from annelid.geometry.checks import all_different
from annelid.geometry.errors import InputError
from annelid.geometry.meshing.grid_lines import CLOSE, Heights, Radii, divide, merged, pieces, stack
from annelid.geometry.meshing.mapped_plane import Drawing, Place, Placed
from annelid.geometry.meshing.mesh_size import MeshSize
from annelid.geometry.shapes.dome_meridian import arc_at_radius
from annelid.geometry.shapes.shapes import Balloon, Band, Dome, Shape, Sleeve, Tube

_X_LOW, _X_HIGH, _Y_LOW, _Y_HIGH = range(4)
_LARGEST_TURN = math.radians(30.0)  # of the meridian along one element, however large ``along`` is


def lay_out(shape: Shape, size: MeshSize, bands: Sequence[Band], lines: Sequence[float]) -> Drawing:
    """Return the layout of a shape with grid lines at the band edges and at ``lines`` (mm).

    Raises:
        InputError: If a band or line is not on the shape, or bands overlap.
    """
    _check_bands(shape, bands)
    if isinstance(shape, Tube):
        return _tube(shape, size, bands, lines)
    if isinstance(shape, Sleeve):
        return _sleeve(shape, size, bands, lines)
    return _shell(shape, size, bands, lines)


def _check_bands(shape: Shape, bands: Sequence[Band]) -> None:
    all_different("bands", [band.name for band in bands])
    layers = [layer.name for layer in shape.layers]
    for band in bands:
        if band.region not in layers:
            raise InputError(
                f"region of band {band.name!r} = {band.region!r}: choose one of the layers "
                + ", ".join(layers),
                band=band.name,
                region=band.region,
            )
    for layer in layers:
        along = sorted((band for band in bands if band.region == layer), key=lambda band: band.low)
        for first, second in pairwise(along):
            if second.low < first.high - CLOSE * abs(first.high):
                raise InputError(
                    f"bands {first.name!r} ({first.low:g} to {first.high:g} mm) and {second.name!r} "
                    f"({second.low:g} to {second.high:g} mm) overlap in layer {layer!r}: start the second at "
                    f"{first.high:g} mm or above",
                    bands=(first.name, second.name),
                )


def _tube(shape: Tube, size: MeshSize, bands: Sequence[Band], lines: Sequence[float]) -> Drawing:
    capped, length = shape.ends == "capped", shape.length
    cap = shape.cap_thickness or sum(layer.thickness for layer in shape.layers)
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

    frame = _Layout(x, y, np.array(columns), rows, grid, (_X_LOW,) if capped else (), [*names, "cap"])
    return frame.drawing(side_name, place, edges, bands)


def _sleeve(shape: Sleeve, size: MeshSize, bands: Sequence[Band], lines: Sequence[float]) -> Drawing:
    low, high = shape.core_overhang, shape.core_overhang + shape.length
    top = high + shape.core_overhang
    edges = Heights(low, high, part=(0.0, top))
    y = edges.lines(bands, [*lines, low, high])
    x = np.concatenate([[shape.core_inner_radius], shape.core_radius + stack(shape.layers)])
    solid = shape.core_inner_radius == 0.0
    across = max(2, pieces(shape.core_radius - shape.core_inner_radius, size.along))
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
    frame = _Layout(x, y, columns, divide(y, size.along), grid, (_X_LOW,) if solid else (), ["core", *names])
    return frame.drawing(side_name, place, edges, bands)


def _edges(shape: Balloon | Dome) -> Heights:
    """Return the conversion of positions on a curved wall to grid lines: of heights, on a dome of radii."""
    meridian, ends = shape.meridian, (0.0, shape.meridian.length)
    if isinstance(shape, Dome):
        return Radii(shape.hole_radius, shape.rim_radius, locate=partial(arc_at_radius, meridian), ends=ends)
    low_z, high_z = meridian.at(np.array(ends)).position[:, 1]
    return Heights(float(low_z), float(high_z), locate=meridian.arc_at_height, ends=ends)


def _shell(shape: Balloon | Dome, size: MeshSize, bands: Sequence[Band], lines: Sequence[float]) -> Drawing:
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
        position = frame.position + x[:, None] * frame.normal
        position[:, 0] = np.where(frame.position[:, 0] == 0.0, 0.0, position[:, 0])
        return Placed(position, frame.normal)

    axis = tuple(side for side, pole in ((_Y_LOW, low_pole), (_Y_HIGH, high_pole)) if pole)
    frame = _Layout(x, y, np.array([size.through] * len(names)), rows, grid, axis, names)
    return frame.drawing(side_name, place, edges, bands)


def _pole_patches(y: FloatArray, size: MeshSize, low: bool, high: bool) -> FloatArray:
    """Add the lines that bound the O-grid discs at closed poles (only in 3-D)."""
    wanted = (size.around / 8 + 1) * size.along
    added = [y]
    for pole, gap, end, sign in ((low, y[1] - y[0], y[0], 1.0), (high, y[-1] - y[-2], y[-1], -1.0)):
        whole = gap if len(y) > 2 or not (low and high) else gap / 2
        if pole and wanted < 0.6 * whole:
            added.append(np.array([end + sign * wanted]))
        elif pole:
            added.append(np.array([end + sign * whole]))
    return merged(np.concatenate(added), y[-1] - y[0])


@dataclass(frozen=True)
class _Layout:
    """The parts of a layout that are the same for all shapes."""

    x: FloatArray
    y: FloatArray
    columns: IntArray
    rows: IntArray
    grid: dict[tuple[int, int], str]
    axis: tuple[int, ...]
    order: list[str]

    def drawing(
        self, side_name: Callable[[int, int, int], str], place: Place, edges: Heights, bands: Sequence[Band]
    ) -> Drawing:
        """Name the free sides, find the patches of the bands and return the layout."""
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
        return Drawing(
            self.x, self.y, self.columns, self.rows, self.grid, outside, self.axis, rank, patches, place
        )
