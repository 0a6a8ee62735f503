# SPDX-License-Identifier: MIT
"""The solid mesh of a wall with a lattice: its flat mesh thickened, placed and named."""

import itertools
from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np

from annelid.geometry.body import Body, FloatArray, IntArray
from annelid.geometry.errors import InputError
from annelid.geometry.lattice.chart import Chart
from annelid.geometry.lattice.wrapping import Lattice
from annelid.geometry.lattice_mesh.base_nodes import footing
from annelid.geometry.lattice_mesh.capped_body import Caps, with_caps
from annelid.geometry.lattice_mesh.core_body import with_core
from annelid.geometry.lattice_mesh.core_surface import Core
from annelid.geometry.lattice_mesh.extruded_body import Laid, body_of
from annelid.geometry.lattice_mesh.extrusion import Course, Thickened, thicken
from annelid.geometry.lattice_mesh.lattice_sheet import LatticeMesh, Ring, lattice_sheet
from annelid.geometry.lattice_mesh.pole_caps import HIGH, LOW
from annelid.geometry.meshing.quality import check_quality
from annelid.geometry.shapes.shapes import Layer

__all__ = [
    "RINGS",
    "STRUTS",
    "Caps",
    "Core",
    "LatticeMesh",
    "Rest",
    "Ring",
    "Stack",
    "Stretch",
    "lattice_body",
    "standing_on",
]

STRUTS = "lattice"
RINGS = "end ring"
"""Regions of the struts and of the solid rings at both ends of a lattice."""


Stretch = Callable[[FloatArray, FloatArray], FloatArray]
"""``Body.stress_free_gradient`` of the wall at points and depths as below."""

Rest = Callable[[FloatArray, FloatArray], FloatArray]
"""Stress-free places X, Y, Z of points of the wall at depths as below, shape (k, 3), mm."""

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
    rest: Rest | None = None,
    cover: Sequence[Layer] = (),
    core: Core | None = None,
    ends: Caps | None = None,
) -> Body:
    """Mesh a wall of layers with its lattice.

    Every node lies on the true surface, mid-side nodes too. Over a closed pole the wall goes on plain.

    Args:
        lattice: The lattice, on the wall's outer face, on its inner face, or in it.
        layers: Layers of the wall from inside to outside.
        size: Element sizes.
        electrodes: Ring electrodes; edges of cells lie at their edges.
        depth: Where in the wall the surface of an embedded lattice lies, 0 (inner face) to 1 (outer face).
        place: Where points over the chart lie, by default at their depth along the normal of its surface.
        natural: Natural stretch of the layers, where they are drawn stretched; what lies on them is
            deposited.
        rest: Their stress-free places, where these are known.
        cover: Layers cast over a lattice on the outside, with its struts in them.
        core: What fills the space within a straight wall that is not drawn stretched, if anything does.
        ends: Discs that close both ends of a straight wall.

    Returns:
        A body of tetrahedra whose regions are the layers, ``lattice``, perhaps ``end ring`` and ``core``.

    Raises:
        InputError: If the sector does not fit the cells, or the mesh falls below the quality floor.
    """
    chart = lattice.chart
    courses, wall = _courses(lattice, layers, size, depth)
    if cover:
        courses, wall = _covered(courses, wall, cover, size)
    sheet = lattice_sheet(lattice, size, electrodes)
    caps, start, whole = sheet.caps, sheet.start, size.sector == 360.0
    thick = thicken(sheet.mesh, courses, width=sheet.width, merge=whole, unroll=caps.unrolled)
    if size.rings and lattice.rings:
        thick = _with_rings(thick, sheet.heights, lattice)

    def lay(at: FloatArray, depth: FloatArray) -> Laid:
        return (place or standing_on(chart))(at + start, depth)

    body = body_of(
        thick,
        lay,
        extent=(sheet.width, caps.high - caps.low),
        wall=wall,
        model="solid" if whole else "sector",
        multiplicity=360.0 / size.sector,
        ends=(not caps.closed[LOW], not caps.closed[HIGH]),
    )
    body = replace(body, bands=_bands(thick, sheet.heights, electrodes))
    if natural is not None:
        stretch = natural(thick.flat + start, thick.depth)
        body = _stretched(body, thick, {layer.name: stretch for layer in layers}, sheet.width)
    if rest is not None:
        body = replace(body, stress_free_points=rest(thick.flat + start, thick.depth))
    if core is not None:
        body = with_core(body, core)
    if ends is not None:
        body = with_caps(body, ends)
    check_quality(body)
    return body


def standing_on(chart: Chart) -> Stack:
    """Return the map that puts points at their depth along the normal of a chart's surface."""

    def place(points: FloatArray, depth: FloatArray) -> Laid:
        spot = chart.place(points, depth)
        return Laid(spot.position, spot.normal, chart.hoop(points))

    return place


def _stretched(body: Body, thick: Thickened, skin: dict[str, FloatArray], width: float) -> Body:
    """Give the layers of the skin their natural stretch; every other region is deposited on them."""
    nodes = np.unique(thick.cells[np.concatenate([thick.regions[name] for name in skin])])
    deposited = tuple(name for name in thick.regions if name not in skin)
    return replace(
        body, stress_free_gradient=skin, deposited=deposited, base_node=footing(thick, nodes, width)
    )


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


def _covered(
    courses: list[Course], wall: tuple[float, float], cover: Sequence[Layer], size: LatticeMesh
) -> tuple[list[Course], tuple[float, float]]:
    """Courses of a lattice that stands on the wall, with the layers cast over it, and the faces of it all."""
    *inner, struts = courses
    edges = wall[1] + np.concatenate([[0.0], np.cumsum([layer.thickness for layer in cover])])
    cast = [
        Course(float(a), float(b), size.through, layer.name, layer.name)
        for layer, a, b in zip(cover, edges[:-1], edges[1:], strict=True)
    ]
    return inner + _embedded(cast, struts), (wall[0], float(edges[-1]))


def _with_rings(thick: Thickened, height: FloatArray, lattice: Lattice) -> Thickened:
    """The same with the end rings as a region of their own."""
    outside = (height < lattice.cells.low) | (height > lattice.cells.high)
    struts = thick.regions[STRUTS]
    on_ring = outside[thick.triangles[struts]]
    regions = dict(thick.regions)
    regions[STRUTS], regions[RINGS] = struts[~on_ring], struts[on_ring]
    return replace(thick, regions=regions)


def _bands(thick: Thickened, height: FloatArray, electrodes: Sequence[Ring]) -> dict[str, IntArray]:
    bands = {}
    for ring in electrodes:
        inside = (height > ring.low) & (height < ring.high)
        cells = thick.regions[ring.region]
        bands[ring.name] = cells[inside[thick.triangles[cells]]]
    return bands
