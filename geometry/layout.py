# SPDX-License-Identifier: MIT
"""Laying shapes out: from a shape and mesh sizes to its drawing."""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from geometry.body import FloatArray, IntArray
from geometry.checks import all_different, within
from geometry.drawing import Drawing, Place, Placed
from geometry.errors import InputError
from geometry.shapes import Balloon, Band, Layer, Shape, Sleeve, Tube
from geometry.sizes import MeshSize

_X_LOW, _X_HIGH, _Y_LOW, _Y_HIGH = range(4)
_CLOSE = 1e-9  # lines nearer than this fraction of the length are one line


def lay_out(shape: Shape, size: MeshSize, bands: Sequence[Band], lines: Sequence[float]) -> Drawing:
    """Return the drawing of a shape with grid lines at the band edges and at ``lines`` (heights, mm).

    Raises:
        InputError: If a band or line does not lie on the shape, or bands overlap.
    """
    _check_bands(shape, bands)
    if isinstance(shape, Tube):
        return _tube(shape, size, bands, lines)
    if isinstance(shape, Sleeve):
        return _sleeve(shape, size, bands, lines)
    return _balloon(shape, size, bands, lines)


def _check_bands(shape: Shape, bands: Sequence[Band]) -> None:
    all_different("bands", [band.name for band in bands])
    layers = [layer.name for layer in shape.layers]
    for band in bands:
        if band.region not in layers:
            raise InputError(
                f"region of band {band.name!r} = {band.region!r}: choose one of the layers {', '.join(layers)}",
                band=band.name,
                region=band.region,
            )
    for layer in layers:
        along = sorted((band for band in bands if band.region == layer), key=lambda band: band.low)
        for first, second in zip(along[:-1], along[1:], strict=True):
            if second.low < first.high - _CLOSE * abs(first.high):
                raise InputError(
                    f"bands {first.name!r} ({first.low:g} to {first.high:g} mm) and {second.name!r} "
                    f"({second.low:g} to {second.high:g} mm) overlap in layer {layer!r}: start the second at "
                    f"{first.high:g} mm or above",
                    bands=(first.name, second.name),
                )


def _tube(shape: Tube, size: MeshSize, bands: Sequence[Band], lines: Sequence[float]) -> Drawing:
    capped, length, wall = shape.ends == "capped", shape.length, _wall(shape.layers)
    cap = (shape.cap_thickness or wall) if capped else 0.0
    edges = _Edges(0.0, length, "Z", lambda height, key: height)
    y = edges.lines(bands, lines)
    x = shape.inner_radius + _stack(shape.layers)
    columns = [size.through] * len(shape.layers)
    rows = _divide(y, size.along)
    names: list[str] = [layer.name for layer in shape.layers]
    count = len(rows)
    grid = {(i, j): name for i, name in enumerate(names) for j in range(count)}
    if capped:
        x, y = np.concatenate([[0.0], x]), np.concatenate([[-cap], y, [length + cap]])
        columns = [_pieces(shape.inner_radius, size.along), *columns]
        thick = max(size.through, _pieces(cap, size.along))
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

    frame = _Frame(x, y, np.array(columns), rows, grid, (_X_LOW,) if capped else (), [*names, "cap"])
    return frame.drawing(side_name, place, edges, bands)


def _sleeve(shape: Sleeve, size: MeshSize, bands: Sequence[Band], lines: Sequence[float]) -> Drawing:
    low, high = shape.core_overhang, shape.core_overhang + shape.length
    top = high + shape.core_overhang
    edges = _Edges(low, high, "Z", lambda height, key: height, whole=(0.0, top))
    y = edges.lines(bands, [*lines, low, high])
    x = np.concatenate([[shape.core_inner_radius], shape.core_radius + _stack(shape.layers)])
    solid = shape.core_inner_radius == 0.0
    across = max(2, _pieces(shape.core_radius - shape.core_inner_radius, size.along))
    covered = (y[:-1] >= low - _CLOSE * top) & (y[1:] <= high + _CLOSE * top)
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
    frame = _Frame(x, y, columns, _divide(y, size.along), grid, (_X_LOW,) if solid else (), ["core", *names])
    return frame.drawing(side_name, place, edges, bands)


def _balloon(shape: Balloon, size: MeshSize, bands: Sequence[Band], lines: Sequence[float]) -> Drawing:
    meridian, length = shape.meridian, shape.meridian.length
    low_z, high_z = meridian.at(np.array([0.0, length])).position[:, 1]
    edges = _Edges(
        float(low_z),
        float(high_z),
        "arc",
        lambda height, key: meridian.arc_at_height(height, key=key),
        (0.0, length),
    )
    y = _merged(np.concatenate([edges.lines(bands, lines), meridian.joints]), length)
    low_pole, high_pole = meridian.poles
    if size.model != "axisymmetric":
        y = _pole_patches(y, size, low_pole, high_pole)
    x = _stack(shape.layers)
    names = [layer.name for layer in shape.layers]
    rows = _divide(y, size.along)
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
    frame = _Frame(x, y, np.array([size.through] * len(names)), rows, grid, axis, names)
    return frame.drawing(side_name, place, edges, bands)


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
    return _merged(np.concatenate(added), y[-1] - y[0])


@dataclass(frozen=True)
class _Edges:
    """Heights turned into grid lines: the range allowed for bands, and the turning."""

    low: float
    high: float
    kind: str
    locate: Callable[..., float]
    whole: tuple[float, float] | None = None

    def of(self, band: Band) -> tuple[float, float]:
        """Return the grid lines of a band's edges."""
        slack = _CLOSE * (abs(self.low) + abs(self.high))
        for word, value in (("lower", band.low), ("upper", band.high)):
            within(
                f"{word} edge of band {band.name!r}",
                value,
                least=self.low - slack,
                most=self.high + slack,
                unit="mm",
                why="where the layer lies",
            )
        return (
            self.locate(band.low, f"lower edge of band {band.name!r}"),
            self.locate(band.high, f"upper edge of band {band.name!r}"),
        )

    def lines(self, bands: Sequence[Band], heights: Sequence[float]) -> FloatArray:
        """Return all grid lines along the part, ascending."""
        ends = self.whole or (self.low, self.high)
        lowest, highest = (
            (min(ends[0], self.low), max(ends[1], self.high)) if self.kind == "Z" else (self.low, self.high)
        )
        for height in heights:
            within("lines", height, least=lowest, most=highest, unit="mm", why="where the part lies")
        found = [edge for band in bands for edge in self.of(band)]
        found += [self.locate(height, "lines") for height in heights]
        return _merged(np.array([*ends, *found]), ends[1] - ends[0])


@dataclass(frozen=True)
class _Frame:
    """The parts of a drawing that the layouts of all shapes fill in alike."""

    x: FloatArray
    y: FloatArray
    columns: IntArray
    rows: IntArray
    grid: dict[tuple[int, int], str]
    axis: tuple[int, ...]
    order: list[str]

    def drawing(
        self, side_name: Callable[[int, int, int], str], place: Place, edges: _Edges, bands: Sequence[Band]
    ) -> Drawing:
        """Name the free sides, find the patches of the bands, and put the drawing together."""
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
            low, high = edges.of(band)
            patches[band.name] = tuple(
                (i, j)
                for (i, j), region in self.grid.items()
                if region == band.region and low < middle[j] < high
            )
        rank = {name: number for number, name in enumerate(self.order)}
        return Drawing(
            self.x, self.y, self.columns, self.rows, self.grid, outside, self.axis, rank, patches, place
        )


def _wall(layers: Sequence[Layer]) -> float:
    return sum(layer.thickness for layer in layers)


def _stack(layers: Sequence[Layer]) -> FloatArray:
    """Return the distances of the layer faces from the inner face, shape (layers + 1,), mm."""
    return np.concatenate([[0.0], np.cumsum([layer.thickness for layer in layers])])


def _pieces(length: float, along: float) -> int:
    """Return how many elements of at most ``along`` a length takes."""
    return max(1, math.ceil(length / along * (1 - 1e-9)))


def _divide(lines: FloatArray, along: float) -> IntArray:
    return np.array([_pieces(step, along) for step in np.diff(lines)], dtype=np.int64)


def _merged(lines: FloatArray, length: float) -> FloatArray:
    """Return the lines sorted, those that coincide to rounding kept once."""
    ordered = np.sort(lines)
    return ordered[np.concatenate([[True], np.diff(ordered) > _CLOSE * length])]
