# SPDX-License-Identifier: MIT
"""What a nozzle has to draw: the centre lines of struts, and lines that fill end rings and plates."""

from collections.abc import Iterator
from typing import NamedTuple

import numpy as np

from annelid.geometry.body import FloatArray
from annelid.geometry.checks import within
from annelid.geometry.lattice.chart import PERIOD
from annelid.geometry.lattice.scale_profile import Interval
from annelid.geometry.lattice.wrapping import Lattice

_ON = 1e-5  # of a closed line's length: struts that end nearer to it end on it


class PrintLine(NamedTuple):
    """A line on the surface that is printed without a break.

    Attributes:
        points: u and v along the line, shape (k, 2); u goes on beyond 2 pi.
        width: Width of what it stands for, mm: of the strut, or of the printed line inside rings and plates.
        kind: ``"strut"``, ``"ring"`` or ``"plate"``.
    """

    points: FloatArray
    width: float
    kind: str


def print_lines(lattice: Lattice, nozzle: float) -> tuple[PrintLine, ...]:
    """Return all lines of one layer: struts all around, then rings and plates filled with printed lines.

    Args:
        lattice: The lattice.
        nozzle: Width of the printed line, mm.

    Raises:
        InputError: If the nozzle is wider than the lattice allows.
    """
    most = 1.5 * min(strut.width for strut in lattice.pattern.struts)
    within("printing.nozzle", nozzle, above=0.0, most=most, unit="mm", why="1.5 times the thinnest strut")
    plates = _whole_plates(lattice)
    rounds = [_rounds(plate, nozzle / _scale(lattice, plate)) for plate in plates]
    struts = _joined(lattice, list(_struts(lattice, plates, nozzle)), [r[0] for r in rounds if r], nozzle)
    column = [*struts, *_fillings(rounds, _ends(lattice, struts), nozzle)]
    turns = lattice.pattern.width * np.arange(lattice.columns)
    around = [line._replace(points=line.points + np.array([turn, 0.0])) for turn in turns for line in column]
    return *around, *(_ring(lattice, band, nozzle) for band in lattice.rings)


def beads(line: PrintLine, nozzle: float) -> int:
    """Return how many printed lines side by side a line takes."""
    return max(1, round(line.width / nozzle)) if line.kind == "strut" else 1


def _whole_plates(lattice: Lattice) -> list[FloatArray]:
    """Plates cut off where cells end."""
    import shapely

    wide = shapely.box(-2 * PERIOD, lattice.cells.low, 2 * PERIOD, lattice.cells.high)
    cut = [shapely.intersection(shapely.Polygon(plate), wide) for plate in lattice.column_plates()]
    return [np.asarray(part.exterior.coords) for part in cut if part.area > 0.0]


def _struts(lattice: Lattice, plates: list[FloatArray], nozzle: float) -> Iterator[PrintLine]:
    """Centre lines, which end half a printed line inside the plates they join."""
    import shapely

    solid = None
    if plates:
        turns = lattice.pattern.width * np.array([[-1.0, 0.0], [0.0, 0.0], [1.0, 0.0]])
        copies = [plate + turn for plate in plates for turn in turns]
        inset = [-nozzle / 2 / _scale(lattice, plate) for plate in copies]
        solid = shapely.union_all(shapely.buffer(list(map(shapely.Polygon, copies)), inset))
    for strut in lattice.column_struts():
        line = shapely.LineString(strut.points)
        for part in shapely.get_parts(line if solid is None else shapely.difference(line, solid)):
            if part.length > 0.0:
                yield PrintLine(np.asarray(part.coords), strut.width, "strut")


def _ends(lattice: Lattice, struts: list[PrintLine]) -> FloatArray:
    """Where struts end, also those of the columns beside, shape (k, 2)."""
    if not struts:
        return np.zeros((0, 2))
    ends = np.concatenate([line.points[[0, -1]] for line in struts])
    turns = lattice.pattern.width * np.array([[-1.0, 0.0], [0.0, 0.0], [1.0, 0.0]])
    return np.asarray((ends + turns[:, None]).reshape(-1, 2))


def _joined(
    lattice: Lattice, struts: list[PrintLine], edges: list[FloatArray], nozzle: float
) -> list[PrintLine]:
    """Struts made longer where they end short of the outermost line of a plate, up to that line."""
    import shapely

    if not edges:
        return struts
    turns = lattice.pattern.width * np.array([[-1.0, 0.0], [0.0, 0.0], [1.0, 0.0]])
    every = shapely.union_all([shapely.LineString(edge + turn) for edge in edges for turn in turns])
    found = []
    for strut in struts:
        points = strut.points
        reach = nozzle / lattice.chart.scale(points[[0, -1]])
        ways = [
            np.asarray(shapely.shortest_line(shapely.Point(end), every).coords) for end in points[[0, -1]]
        ]
        first, last = (
            way[1:] if 0.0 < np.linalg.norm(way[1] - way[0]) < most else way[:0]
            for way, most in zip(ways, reach, strict=True)
        )
        found.append(strut._replace(points=np.concatenate([first, points, last])))
    return found


def _rounds(plate: FloatArray, step: float) -> list[FloatArray]:
    """Closed lines that fill a plate, parallel to its edge, from the edge inwards."""
    import shapely

    polygon, rounds, inset = shapely.Polygon(plate), [], step / 2
    while not (left := shapely.buffer(polygon, -inset, join_style="mitre")).is_empty:
        rounds.append(np.asarray(shapely.get_parts(left)[0].exterior.coords))
        inset += step
    return rounds


def _fillings(plates: list[list[FloatArray]], ends: FloatArray, nozzle: float) -> Iterator[PrintLine]:
    """Lines that fill plates, the outermost parted where struts meet it."""
    for rounds in plates:
        if not rounds:
            continue
        edge = _parted(rounds[0], ends)
        yield from (PrintLine(piece, nozzle, "plate") for piece in edge)
        if len(rounds) > 1:
            inner = [_from_nearest(ring, edge[0][0]) for ring in rounds[1:]]
            yield PrintLine(np.concatenate([edge[0][:1], *inner]), nozzle, "plate")


def _from_nearest(ring: FloatArray, place: FloatArray) -> FloatArray:
    """A closed line begun at its corner nearest to a place, so that the way to it is short."""
    first = int(np.argmin(np.linalg.norm(ring[:-1] - place, axis=1)))
    return np.concatenate([ring[first:-1], ring[: first + 1]])


def _parted(ring: FloatArray, ends: FloatArray) -> list[FloatArray]:
    """A closed line, parted where struts end on it so that they meet it at nodes."""
    import shapely

    line = shapely.LineString(ring)
    near = ends[shapely.distance(line, shapely.points(ends)) < _ON * line.length]
    if not len(near):
        return [ring]
    way = np.append(0.0, np.cumsum(np.linalg.norm(np.diff(ring, axis=0), axis=1)))
    at, first = np.unique(
        np.round(shapely.line_locate_point(line, shapely.points(near)), 9), return_index=True
    )
    stops = near[first]
    pieces = []
    for k in range(len(at)):
        low, high = at[k], at[k + 1] if k + 1 < len(at) else at[0] + way[-1]
        corners = np.concatenate([way[:-1], way[:-1] + way[-1]])
        inner = np.concatenate([ring[:-1], ring[:-1]])[(corners > low + 1e-9) & (corners < high - 1e-9)]
        pieces.append(np.concatenate([stops[[k]], inner, stops[[(k + 1) % len(at)]]]))
    return pieces


def _ring(lattice: Lattice, band: Interval, nozzle: float) -> PrintLine:
    """A ring filled by circles, each joined to the next by a short step."""
    v = np.linspace(*band, 201)
    u = np.linspace(0.0, PERIOD, 33)[:-1]
    scale = lattice.chart.scale(np.stack(np.meshgrid(u, v, indexing="ij"), axis=-1).reshape(-1, 2))
    mean = scale.reshape(len(u), len(v)).mean(axis=0)
    length = np.concatenate([[0.0], np.cumsum(np.diff(v) * (mean[1:] + mean[:-1]) / 2)])
    count = max(1, round(length[-1] / nozzle))
    levels = np.interp((np.arange(count) + 0.5) / count * length[-1], length, v)
    turns = PERIOD * np.linspace(0.0, 1.0, 37)
    circles = (turns + PERIOD * np.arange(count)[:, None]).ravel()
    return PrintLine(np.column_stack([circles, np.repeat(levels, len(turns))]), nozzle, "ring")


def _scale(lattice: Lattice, plate: FloatArray) -> float:
    middle = plate.mean(axis=0)[None]
    middle[:, 1] = np.clip(middle[:, 1], *lattice.extent)
    return float(lattice.chart.scale(middle)[0])
