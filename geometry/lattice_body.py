# SPDX-License-Identifier: MIT
"""The solid mesh of a wall with a lattice: one column of cells meshed in the chart, copied, thickened."""

import itertools
import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np

from geometry.body import Body, FloatArray, IntArray
from geometry.chart import Chart
from geometry.checks import whole_number, within
from geometry.errors import InputError
from geometry.extrude import Course, Laid, Thickened, body_of, thicken
from geometry.flat_mesh import FlatMesh, Outline, mesh_flat, tiled
from geometry.footprint import footprint
from geometry.laying import Lattice
from geometry.quality import check_quality
from geometry.shapes import Layer

STRUTS = "lattice"
RINGS = "end ring"
"""Regions of the struts and of the solid rings at both ends of a lattice."""

_SAMPLES = 400  # places along v at which the scale is tabulated for element sizes


@dataclass(frozen=True, kw_only=True)
class LatticeMesh:
    """How a wall with a lattice is meshed.

    Attributes:
        along: Largest element size between the struts, mm.
        on_struts: Element size on the struts, mm; above their width one element lies across a strut and
            elements are as long along it. ``None``: half of the width.
        through: Elements through each layer of the wall.
        through_struts: Elements through the height of the struts.
        sector: Opening angle of the modelled piece, degrees; 360 for the whole part.
        rim: Length from either end over which elements grow from half of their size, mm, where a wall drawn
            stretched has edge effects; 0 for none.
        rings: Whether the end rings are a region of their own, ``end ring``, or belong to ``lattice``.

    Raises:
        InputError: If a value is outside its range.
    """

    along: float
    on_struts: float | None = None
    through: int = 1
    through_struts: int = 1
    sector: float = 360.0
    rim: float = 0.0
    rings: bool = False

    def __post_init__(self) -> None:
        within("mesh.along", self.along, above=0.0, unit="mm")
        if self.on_struts is not None:
            within("mesh.on_struts", self.on_struts, above=0.0, unit="mm")
        whole_number("mesh.through", self.through, least=1)
        whole_number("mesh.through_struts", self.through_struts, least=1)
        within("mesh.sector", self.sector, above=0.0, most=360.0, unit="degrees")


class Ring(NamedTuple):
    """An electrode around the wall: one layer between two values of v."""

    name: str
    region: str
    low: float
    high: float


Stretch = Callable[[FloatArray, FloatArray], FloatArray]
"""Stress-free over drawn length of the wall, hoop and axial, shape (k, 2), at points and depths as below."""

Stack = Callable[[FloatArray, FloatArray], Laid]
"""Maps points (u, v) of the chart, shape (k, 2), and drawn depths (k,) over its surface into space."""


def lattice_body(
    lattice: Lattice,
    layers: Sequence[Layer],
    size: LatticeMesh,
    *,
    electrodes: Sequence[Ring] = (),
    depth: float = 0.5,
    place: Stack | None = None,
    natural: Stretch | None = None,
) -> Body:
    """Mesh a wall of layers with its lattice.

    Every node lies on the true surface, mid-side nodes too.

    Args:
        lattice: The lattice, on the wall's outer face, on its inner face, or in it.
        layers: Layers of the wall from inside to outside.
        size: Element sizes.
        electrodes: Ring electrodes; edges of cells lie at their edges.
        depth: Where in the wall the surface of an embedded lattice lies, 0 (inner face) to 1 (outer face).
        place: Where points over the chart lie, by default at their depth along the normal of its surface.
        natural: Natural stretch of the layers, where they are drawn stretched.

    Returns:
        A body of tetrahedra whose regions are the layers, ``lattice`` and perhaps ``end ring``.

    Raises:
        InputError: If the surface has closed poles, the sector does not fit the cells, or the mesh falls
            below the quality floor.
    """
    chart = lattice.chart
    courses, wall = _courses(lattice, layers, size, depth)
    flat, width = _flat(lattice, size, electrodes)
    whole = size.sector == 360.0
    thick = thicken(flat, courses, width=width, merge=whole)
    if size.rings and lattice.rings:
        thick = _with_rings(thick, flat, lattice)
    start = np.array([flat.origin[0], chart.low])

    def lay(at: FloatArray, depth: FloatArray) -> Laid:
        return (place or standing_on(chart))(at + start, depth)

    body = body_of(
        thick,
        lay,
        extent=(width, chart.high - chart.low),
        wall=wall,
        model="solid" if whole else "sector",
        copies=360.0 / size.sector,
    )
    body = replace(body, bands=_bands(thick, flat, chart, electrodes))
    if natural is not None:
        stretch = natural(thick.flat + start, thick.depth)
        body = replace(body, natural={layer.name: stretch for layer in layers})
    check_quality(body)
    return body


def standing_on(chart: Chart) -> Stack:
    """Return the map that puts points at their depth along the normal of a chart's surface."""

    def place(points: FloatArray, depth: FloatArray) -> Laid:
        spot = chart.place(points, depth)
        zero = np.zeros(len(points))
        hoop = np.column_stack([-np.sin(points[:, 0]), np.cos(points[:, 0]), zero])
        return Laid(spot.position, spot.normal, hoop)

    return place


def _courses(
    lattice: Lattice, layers: Sequence[Layer], size: LatticeMesh, depth: float
) -> tuple[list[Course], tuple[float, float]]:
    """Courses over the chart's surface, from inside to outside, and the depths of the faces of the wall."""
    thickness = sum(layer.thickness for layer in layers)
    low, high = lattice.heights
    inner = {"outside": -thickness, "inside": 0.0, "embedded": -depth * thickness}[lattice.side]
    edges = inner + np.concatenate([[0.0], np.cumsum([layer.thickness for layer in layers])])
    wall = float(edges[0]), float(edges[-1])
    courses = [
        Course(float(a), float(b), size.through, layer.name, layer.name)
        for layer, a, b in zip(layers, edges[:-1], edges[1:], strict=True)
    ]
    struts = Course(low, high, size.through_struts, STRUTS, None)
    if lattice.side == "embedded":
        return _embedded(courses, struts), wall
    return ([*courses, struts] if lattice.side == "outside" else [struts, *courses]), wall


def _embedded(courses: list[Course], struts: Course) -> list[Course]:
    """The wall's courses cut where the struts begin and end, struts in place of the wall between."""
    if struts.low < courses[0].low - 1e-12 or struts.high > courses[-1].high + 1e-12:
        raise InputError(
            f"lattice.height: embedded struts of {struts.high - struts.low:g} mm reach out of the wall; make "
            "them lower, or choose another depth",
            key="lattice.height",
        )
    found = []
    for course in courses:
        inside = [z for z in (struts.low, struts.high) if course.low + 1e-9 < z < course.high - 1e-9]
        edges = [course.low, *inside, course.high]
        for low, high in itertools.pairwise(edges):
            amid = low > struts.low - 1e-9 and high < struts.high + 1e-9
            share = max(1, round(course.elements * (high - low) / (course.high - course.low)))
            count = max(share, struts.elements) if amid else share
            found.append(Course(low, high, count, STRUTS if amid else course.between, course.between))
    return found


def _flat(lattice: Lattice, size: LatticeMesh, electrodes: Sequence[Ring]) -> tuple[FlatMesh, float]:
    """The chart triangulated from (0, low) on, and its width."""
    chart = lattice.chart
    _refuse_poles(chart)
    covered = footprint(lattice)
    v = np.linspace(chart.low, chart.high, _SAMPLES)
    scale = chart.scale(np.column_stack([np.zeros_like(v), v]))
    largest = float(scale.max())
    swell = largest / scale * _towards_rims(v, scale, size.rim)
    narrow = min(strut.width for strut in lattice.pattern.struts)
    fine = (narrow / 2 if size.on_struts is None else size.on_struts) / largest
    cuts = {edge for ring in electrodes for edge in (ring.low, ring.high)}
    cuts |= {edge for band in (lattice.cells, *lattice.rings) for edge in band} if size.rings else set()
    shift = np.array([0.0, -chart.low])
    outlines = [
        (polygon.outer + shift, tuple(hole + shift for hole in polygon.holes)) for polygon in covered.polygons
    ]
    width, copies, seams = covered.period, lattice.around, "x"
    if size.sector < 360.0:
        width, copies, seams = _sector(lattice, size.sector), 1, ""
        outlines = _repeated(outlines, covered.period, width)
    mesh = mesh_flat(
        outlines,
        (width, chart.high - chart.low),
        fine=fine,
        coarse=size.along / largest,
        detail=narrow / largest,
        seams=seams,
        cuts=sorted(cut - chart.low for cut in cuts),
        swell=lambda y: float(np.interp(y + chart.low, v, swell)),
    )
    return (tiled(mesh, width, copies) if copies > 1 else mesh), copies * width


def _towards_rims(v: FloatArray, scale: FloatArray, rim: float) -> FloatArray:
    """Factor of element sizes along v: a half at either end, 1 from ``rim`` mm on."""
    if rim <= 0.0:
        return np.ones_like(v)
    length = np.concatenate([[0.0], np.cumsum(np.diff(v) * (scale[1:] + scale[:-1]) / 2)])
    nearest = np.minimum(length, length[-1] - length)
    return np.asarray(0.5 + 0.5 * np.minimum(nearest / rim, 1.0))


def _refuse_poles(chart: Chart) -> None:
    closed = getattr(getattr(chart, "meridian", None), "poles", (False, False))
    if any(closed):
        raise InputError(
            "shape: a wall with a lattice must end in open rings; this contour closes on the axis. Cut it "
            "off at a neck (meridian.kind = 'necked')",
            key="shape.meridian",
        )


def _sector(lattice: Lattice, sector: float) -> float:
    """The angle of a sector between mirror lines of the pattern, rad."""
    half = lattice.pattern.width / 2
    angle = math.radians(sector)
    count = round(angle / half)
    if not lattice.pattern.mirrors:
        raise InputError(
            f"mesh.model = 'sector': cells of kind '{lattice.pattern.name}' have no mirror lines along the "
            "part; model the whole part (mesh.model = 'solid')",
            key="mesh.model",
        )
    if count < 1 or abs(angle - count * half) > 1e-6:
        raise InputError(
            f"mesh.sector = {sector:g} deg: must be a whole multiple of half a cell, "
            f"{math.degrees(half):.6g} deg ({lattice.around} cells around)",
            key="mesh.sector",
            value=sector,
        )
    return count * half


def _repeated(outlines: list[Outline], period: float, width: float) -> list[Outline]:
    moves = [np.array([i * period, 0.0]) for i in range(-1, math.ceil(width / period) + 1)]
    return [(outer + move, tuple(h + move for h in holes)) for move in moves for outer, holes in outlines]


def _with_rings(thick: Thickened, flat: FlatMesh, lattice: Lattice) -> Thickened:
    """The same with the end rings as a region of their own."""
    height = flat.points[flat.triangles, 1].mean(axis=1) + lattice.chart.low
    outside = (height < lattice.cells.low) | (height > lattice.cells.high)
    struts = thick.regions[STRUTS]
    on_ring = outside[thick.triangles[struts]]
    regions = dict(thick.regions)
    regions[STRUTS], regions[RINGS] = struts[~on_ring], struts[on_ring]
    return replace(thick, regions=regions)


def _bands(thick: Thickened, flat: FlatMesh, chart: Chart, electrodes: Sequence[Ring]) -> dict[str, IntArray]:
    height = flat.points[flat.triangles, 1].mean(axis=1) + chart.low
    bands = {}
    for ring in electrodes:
        inside = (height > ring.low) & (height < ring.high)
        cells = thick.regions[ring.region]
        bands[ring.name] = cells[inside[thick.triangles[cells]]]
    return bands
