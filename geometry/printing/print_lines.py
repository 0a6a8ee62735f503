# SPDX-License-Identifier: MIT
"""The lines that a nozzle prints: centre lines of struts, and lines that fill end rings and plates."""

from collections.abc import Iterator
from typing import NamedTuple

import numpy as np

from annelid.geometry.body import FloatArray
from annelid.geometry.checks import within
from annelid.geometry.errors import checking
from annelid.geometry.lattice.chart import PERIOD
from annelid.geometry.lattice.scale_profile import Interval
from annelid.geometry.lattice.wrapping import Lattice

_ON = 1e-5  # of the length of a closed line: struts that end nearer to it end on it


class PrintLine(NamedTuple):
    """A line on the surface that is printed without interruption.

    Attributes:
        points: u and v along the line, shape (k, 2); u continues beyond 2 pi.
        width: Width of the strut, or of a printed line in rings and plates, mm.
        kind: ``"strut"``, ``"ring"`` or ``"plate"``.
    """

    points: FloatArray
    width: float
    kind: str


def print_lines(lattice: Lattice, nozzle: float) -> tuple[PrintLine, ...]:
    """Return all lines of one layer: struts and infill of plates all around, then infill of rings.

    Args:
        lattice: The lattice.
        nozzle: Width of the printed line, mm.

    Raises:
        InputError: If the nozzle is too wide for the struts.
    """
    most = 1.5 * min(strut.width for strut in lattice.pattern.struts)
    with checking("printing"):
        within("nozzle", nozzle, above=0.0, most=most, unit="mm", why="1.5 times the thinnest strut")
    plates = _clipped_plates(lattice)
    contours = [_contours(plate, nozzle / _scale(lattice, plate)) for plate in plates]
    outermost = [lines[0] for lines in contours if lines]
    struts = _extended_to_plates(lattice, list(_struts(lattice, plates, nozzle)), outermost, nozzle)
    column = [*struts, *_infill(contours, _ends(lattice, struts), nozzle)]
    shifts = lattice.pattern.width * np.arange(lattice.columns)
    around = [
        line._replace(points=line.points + np.array([shift, 0.0])) for shift in shifts for line in column
    ]
    return *around, *(_ring(lattice, band, nozzle) for band in lattice.rings)


def pass_count(line: PrintLine, nozzle: float) -> int:
    """Return the number of parallel passes in which a line is printed."""
    return max(1, round(line.width / nozzle)) if line.kind == "strut" else 1


def _clipped_plates(lattice: Lattice) -> list[FloatArray]:
    """Plates, cut off at the ends of the cells."""
    import shapely

    wide = shapely.box(-2 * PERIOD, lattice.cells.low, 2 * PERIOD, lattice.cells.high)
    cut = [shapely.intersection(shapely.Polygon(plate), wide) for plate in lattice.column_plates()]
    return [np.asarray(part.exterior.coords) for part in cut if part.area > 0.0]


def _struts(lattice: Lattice, plates: list[FloatArray], nozzle: float) -> Iterator[PrintLine]:
    """Centre lines of struts, which end half a printed line inside adjacent plates."""
    import shapely

    solid = None
    if plates:
        shifts = lattice.pattern.width * np.array([[-1.0, 0.0], [0.0, 0.0], [1.0, 0.0]])
        copies = [plate + shift for plate in plates for shift in shifts]
        inset = [-nozzle / 2 / _scale(lattice, plate) for plate in copies]
        solid = shapely.union_all(shapely.buffer(list(map(shapely.Polygon, copies)), inset))
    for strut in lattice.column_struts():
        line = shapely.LineString(strut.points)
        for part in shapely.get_parts(line if solid is None else shapely.difference(line, solid)):
            if part.length > 0.0:
                yield PrintLine(np.asarray(part.coords), strut.width, "strut")


def _ends(lattice: Lattice, struts: list[PrintLine]) -> FloatArray:
    """Ends of the struts of this column and of both adjacent columns, shape (k, 2)."""
    if not struts:
        return np.zeros((0, 2))
    ends = np.concatenate([line.points[[0, -1]] for line in struts])
    shifts = lattice.pattern.width * np.array([[-1.0, 0.0], [0.0, 0.0], [1.0, 0.0]])
    return np.asarray((ends + shifts[:, None]).reshape(-1, 2))


def _extended_to_plates(
    lattice: Lattice, struts: list[PrintLine], edges: list[FloatArray], nozzle: float
) -> list[PrintLine]:
    """Struts, extended to the outermost line of a plate where they end less than a printed line from it."""
    import shapely

    if not edges:
        return struts
    shifts = lattice.pattern.width * np.array([[-1.0, 0.0], [0.0, 0.0], [1.0, 0.0]])
    outlines = shapely.union_all([shapely.LineString(edge + shift) for edge in edges for shift in shifts])
    extended = []
    for strut in struts:
        points = strut.points
        limits = nozzle / lattice.chart.scale(points[[0, -1]])
        gaps = [
            np.asarray(shapely.shortest_line(shapely.Point(end), outlines).coords) for end in points[[0, -1]]
        ]
        first, last = (
            gap[1:] if 0.0 < np.linalg.norm(gap[1] - gap[0]) < limit else gap[:0]
            for gap, limit in zip(gaps, limits, strict=True)
        )
        extended.append(strut._replace(points=np.concatenate([first, points, last])))
    return extended


def _contours(plate: FloatArray, step: float) -> list[FloatArray]:
    """Closed lines parallel to the edge of a plate that fill it, from the edge inwards."""
    import shapely

    polygon, contours, inset = shapely.Polygon(plate), [], step / 2
    while not (remainder := shapely.buffer(polygon, -inset, join_style="mitre")).is_empty:
        contours.append(np.asarray(shapely.get_parts(remainder)[0].exterior.coords))
        inset += step
    return contours


def _infill(plates: list[list[FloatArray]], ends: FloatArray, nozzle: float) -> Iterator[PrintLine]:
    """Lines that fill plates; the outermost line of each is divided where struts meet it."""
    for contours in plates:
        if not contours:
            continue
        edge = _split_at(contours[0], ends)
        yield from (PrintLine(piece, nozzle, "plate") for piece in edge)
        if len(contours) > 1:
            inner = [_from_nearest(ring, edge[0][0]) for ring in contours[1:]]
            yield PrintLine(np.concatenate([edge[0][:1], *inner]), nozzle, "plate")


def _from_nearest(ring: FloatArray, place: FloatArray) -> FloatArray:
    """The closed line that begins at its corner nearest to a position."""
    first = int(np.argmin(np.linalg.norm(ring[:-1] - place, axis=1)))
    return np.concatenate([ring[first:-1], ring[: first + 1]])


def _split_at(ring: FloatArray, ends: FloatArray) -> list[FloatArray]:
    """The pieces of a closed line between the ends of struts on it."""
    import shapely

    line = shapely.LineString(ring)
    near = ends[shapely.distance(line, shapely.points(ends)) < _ON * line.length]
    if not len(near):
        return [ring]
    lengths = np.append(0.0, np.cumsum(np.linalg.norm(np.diff(ring, axis=0), axis=1)))
    at, first = np.unique(
        np.round(shapely.line_locate_point(line, shapely.points(near)), 9), return_index=True
    )
    stops = near[first]
    pieces = []
    for k in range(len(at)):
        low, high = at[k], at[k + 1] if k + 1 < len(at) else at[0] + lengths[-1]
        corners = np.concatenate([lengths[:-1], lengths[:-1] + lengths[-1]])
        inner = np.concatenate([ring[:-1], ring[:-1]])[(corners > low + 1e-9) & (corners < high - 1e-9)]
        pieces.append(np.concatenate([stops[[k]], inner, stops[[(k + 1) % len(at)]]]))
    return pieces


def _ring(lattice: Lattice, band: Interval, nozzle: float) -> PrintLine:
    """A ring filled with circles, each connected to the next by a short step."""
    v = np.linspace(*band, 201)
    u = np.linspace(0.0, PERIOD, 33)[:-1]
    scale = lattice.chart.scale(np.stack(np.meshgrid(u, v, indexing="ij"), axis=-1).reshape(-1, 2))
    mean = scale.reshape(len(u), len(v)).mean(axis=0)
    length = np.concatenate([[0.0], np.cumsum(np.diff(v) * (mean[1:] + mean[:-1]) / 2)])
    count = max(1, round(length[-1] / nozzle))
    levels = np.interp((np.arange(count) + 0.5) / count * length[-1], length, v)
    circle = PERIOD * np.linspace(0.0, 1.0, 37)
    circles = (circle + PERIOD * np.arange(count)[:, None]).ravel()
    return PrintLine(np.column_stack([circles, np.repeat(levels, len(circle))]), nozzle, "ring")


def _scale(lattice: Lattice, plate: FloatArray) -> float:
    middle = plate.mean(axis=0)[None]
    middle[:, 1] = np.clip(middle[:, 1], *lattice.extent)
    return float(lattice.chart.scale(middle)[0])
