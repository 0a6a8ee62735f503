# SPDX-License-Identifier: MIT
"""The solid mesh of a wall with a lattice."""

import itertools
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from annelid.geometry.body import Body, FloatArray, IntArray
from annelid.geometry.errors import InputError, InvalidValue
from annelid.geometry.lattice.chart import Chart
from annelid.geometry.lattice.measured_chart import MeasuredChart
from annelid.geometry.lattice.wrapping import Lattice
from annelid.geometry.lattice_mesh.base_nodes import base_nodes
from annelid.geometry.lattice_mesh.capped_body import EndCaps, with_caps
from annelid.geometry.lattice_mesh.core_body import with_core
from annelid.geometry.lattice_mesh.core_surface import Core
from annelid.geometry.lattice_mesh.extruded_body import STRUTS, Placement, WallPoints, extruded_body
from annelid.geometry.lattice_mesh.extrusion import ExtrudedMesh, Slab, extrude
from annelid.geometry.lattice_mesh.folded_cells import folded_cell_error
from annelid.geometry.lattice_mesh.lattice_sheet import LatticeMeshSize, RingElectrode, lattice_sheet
from annelid.geometry.lattice_mesh.pole_discs import HIGH, LOW
from annelid.geometry.meshing.mesh_size import check_count
from annelid.geometry.meshing.quality import check_quality
from annelid.geometry.meshing.uneven_wall import local_depth
from annelid.geometry.shapes.shape import Layer, layer_faces

RINGS = "end ring"
"""Region of the solid rings at both ends of a lattice."""

WallField = Callable[[FloatArray, FloatArray], FloatArray]
"""Function of points (u, v) of the chart, shape (k, 2), and depths over its surface, (k,), with k values."""


def lattice_body(
    lattice: Lattice,
    layers: Sequence[Layer],
    size: LatticeMeshSize,
    *,
    electrodes: Sequence[RingElectrode] = (),
    depth: float = 0.5,
    place: Placement | None = None,
    stress_free_gradient: WallField | None = None,
    stress_free_points: WallField | None = None,
    cover: Sequence[Layer] = (),
    core: Core | None = None,
    ends: EndCaps | None = None,
) -> Body:
    """Mesh a wall of layers with its lattice.

    All nodes, including mid-side nodes, lie on the true surface. A closed pole is covered by the wall without
    a lattice.

    Args:
        lattice: The lattice on the outer face of the wall, on its inner face, or embedded in it.
        layers: Layers of the wall from inside to outside. Uneven ones need a lattice on the outside of a
            measured surface, whose heights are those of their maps.
        size: Element sizes.
        electrodes: Ring electrodes; the mesh has cell edges at their edges.
        depth: Position of the surface of an embedded lattice in the wall, from 0 (inner face) to 1 (outer).
        place: Map of points (u, v) and depths into space; by default along the normal of the surface.
        stress_free_gradient: Values of ``Body.stress_free_gradient`` for the layers, if the reference shape
            is stretched; everything else is then deposited on them.
        stress_free_points: Stress-free positions X, Y, Z in the layers, mm, if they are known.
        cover: Layers cast over a lattice on the outside, in which its struts are embedded.
        core: Core that fills the space within a straight wall without stretch.
        ends: Discs that close both ends of a straight wall.

    Returns:
        A body of tetrahedra with the layers, ``lattice`` and optionally ``end ring``, ``core`` and ``cap`` as
        regions.

    Raises:
        InputError: If the sector does not fit the cells, or the mesh quality is below the floor.
    """
    chart = lattice.chart
    slabs, wall = _slabs(lattice, layers, size, depth)
    uneven = _uneven_wall(chart, layers, wall[1]) if any(layer.uneven for layer in layers) else None
    if cover:
        slabs, wall = _with_cover(slabs, wall, cover, size)
    sheet = lattice_sheet(lattice, size, electrodes)
    prisms = len(sheet.mesh.triangles) * sum(slab.elements for slab in slabs)
    check_count(3 * prisms, f"through = {size.through}", "make mesh.through smaller or mesh.along larger")
    discs, start, full = sheet.discs, sheet.start, size.sector == 360.0
    extruded = extrude(
        sheet.mesh, slabs, width=sheet.width, merge=full, pattern_map=discs.pattern_coordinates
    )
    if size.separate_rings and lattice.rings:
        extruded = _with_rings(extruded, sheet.triangle_v, lattice)

    def placement(at: FloatArray, depth: FloatArray) -> WallPoints:
        moved = depth if uneven is None else uneven.through(at + start, depth)
        return (place or normal_placement(chart))(at + start, moved)

    body = extruded_body(
        extruded,
        placement,
        extent=(sheet.width, discs.high - discs.low),
        wall=wall,
        model="solid" if full else "sector",
        multiplicity=360.0 / size.sector,
        ends=(not discs.closed[LOW], not discs.closed[HIGH]),
    )
    local = {} if uneven is None else uneven.thickness(extruded.flat + start)
    body = replace(body, bands=_bands(extruded, sheet.triangle_v, electrodes), layer_thickness=local)
    if stress_free_gradient is not None:
        gradient = stress_free_gradient(extruded.flat + start, extruded.depth)
        body = _with_gradients(body, extruded, {layer.name: gradient for layer in layers}, sheet.width)
    if stress_free_points is not None:
        body = replace(body, stress_free_points=stress_free_points(extruded.flat + start, extruded.depth))
    if core is not None:
        body = with_core(body, core)
    if ends is not None:
        body = with_caps(body, ends)
    try:
        check_quality(body)
    except InputError as error:
        if (cell := error.data["cell"]) >= len(extruded.cells):
            raise  # of the core or a cap
        flat, depths = (values[extruded.cells[cell]] for values in (extruded.flat + start, extruded.depth))
        raise folded_cell_error(error, lattice, flat, depths, inflated=place is not None) from None
    return body


def normal_placement(chart: Chart) -> Placement:
    """Return the map that places points at their depths along the normal of the surface of a chart."""

    def place(points: FloatArray, depth: FloatArray) -> WallPoints:
        placed = chart.place(points, depth)
        return WallPoints(placed.position, placed.normal, chart.hoop(points))

    return place


@dataclass(frozen=True)
class _UnevenWall:
    """Layers of uneven thickness within a measured outer face; ``outer`` is the depth of this face, mm."""

    chart: MeasuredChart
    layers: Sequence[Layer]
    outer: float

    def through(self, points: FloatArray, depth: FloatArray) -> FloatArray:
        """Return depths of points (u, v) given those in an even wall; struts stay where they are."""
        nominal = np.cumsum([0.0, *(layer.thickness for layer in self.layers)])
        angle, height = self.chart.coordinates(points).T
        faces = layer_faces(self.layers, height, angle)
        faces -= faces[:, -1:]
        inside = np.minimum(depth - self.outer, 0.0)
        return np.where(
            depth > self.outer, depth, self.outer + local_depth(inside, nominal - nominal[-1], faces)
        )

    def thickness(self, points: FloatArray) -> dict[str, FloatArray]:
        """Return the local thickness of the uneven layers at points (u, v), mm."""
        angle, height = self.chart.coordinates(points).T
        return {layer.name: layer.at(height, angle) for layer in self.layers if layer.uneven is not None}


def _uneven_wall(chart: Chart, layers: Sequence[Layer], outer: float) -> _UnevenWall:
    if not isinstance(chart, MeasuredChart) or chart.offset:
        text = "uneven layers with a lattice need a measured outer face on which the lattice lies"
        raise InvalidValue(text, key="layers")
    return _UnevenWall(chart, layers, outer)


def _with_gradients(
    body: Body, extruded: ExtrudedMesh, gradients: dict[str, FloatArray], width: float
) -> Body:
    """Return the body with stress-free gradients of some regions; all other regions are deposited."""
    nodes = np.unique(extruded.cells[np.concatenate([extruded.regions[name] for name in gradients])])
    deposited = tuple(name for name in extruded.regions if name not in gradients)
    return replace(
        body,
        stress_free_gradient=gradients,
        deposited=deposited,
        base_node=base_nodes(extruded, nodes, width),
    )


def _slabs(
    lattice: Lattice, layers: Sequence[Layer], size: LatticeMeshSize, depth: float
) -> tuple[list[Slab], tuple[float, float]]:
    """Slabs from inside to outside, and the depths of the faces of the wall; the chart is at depth 0."""
    thickness = sum(layer.thickness for layer in layers)
    low, high = lattice.heights
    inner = {"outside": -thickness, "inside": 0.0, "embedded": -depth * thickness}[lattice.side]
    edges = inner + np.concatenate([[0.0], np.cumsum([layer.thickness for layer in layers])])
    wall = float(edges[0]), float(edges[-1])
    slabs = [
        Slab(float(a), float(b), size.through, layer.name, layer.name)
        for layer, a, b in zip(layers, edges[:-1], edges[1:], strict=True)
    ]
    struts = Slab(low, high, size.through_struts, STRUTS, None)
    if lattice.side == "embedded":
        return _embedded(slabs, struts), wall
    return ([*slabs, struts] if lattice.side == "outside" else [struts, *slabs]), wall


def _embedded(slabs: list[Slab], struts: Slab) -> list[Slab]:
    """The slabs divided at the faces of embedded struts, with the struts in place of the wall between."""
    if struts.low < slabs[0].low - 1e-12 or struts.high > slabs[-1].high + 1e-12:
        raise InvalidValue(
            f"embedded struts of {struts.high - struts.low:g} mm extend beyond the wall: make height smaller "
            "or change depth",
            key="height",
            subject="lattice",
        )
    divided = []
    for slab in slabs:
        inside = [z for z in (struts.low, struts.high) if slab.low + 1e-9 < z < slab.high - 1e-9]
        edges = [slab.low, *inside, slab.high]
        for low, high in itertools.pairwise(edges):
            embedded = low > struts.low - 1e-9 and high < struts.high + 1e-9
            elements = max(1, round(slab.elements * (high - low) / (slab.high - slab.low)))
            count = max(elements, struts.elements) if embedded else elements
            divided.append(Slab(low, high, count, STRUTS if embedded else slab.between, slab.between))
    return divided


def _with_cover(
    slabs: list[Slab], wall: tuple[float, float], cover: Sequence[Layer], size: LatticeMeshSize
) -> tuple[list[Slab], tuple[float, float]]:
    """The slabs of a wall with a lattice on it and layers cast over it, and the depths of all its faces."""
    *inner, struts = slabs
    edges = wall[1] + np.concatenate([[0.0], np.cumsum([layer.thickness for layer in cover])])
    cast = [
        Slab(float(a), float(b), size.through, layer.name, layer.name)
        for layer, a, b in zip(cover, edges[:-1], edges[1:], strict=True)
    ]
    return inner + _embedded(cast, struts), (wall[0], float(edges[-1]))


def _with_rings(extruded: ExtrudedMesh, v: FloatArray, lattice: Lattice) -> ExtrudedMesh:
    """The mesh with the end rings as a separate region; ``v`` are the middles of the flat triangles."""
    outside = (v < lattice.cells.low) | (v > lattice.cells.high)
    struts = extruded.regions[STRUTS]
    on_ring = outside[extruded.triangles[struts]]
    regions = dict(extruded.regions)
    regions[STRUTS], regions[RINGS] = struts[~on_ring], struts[on_ring]
    return replace(extruded, regions=regions)


def _bands(extruded: ExtrudedMesh, v: FloatArray, electrodes: Sequence[RingElectrode]) -> dict[str, IntArray]:
    bands = {}
    for ring in electrodes:
        inside = (v > ring.low) & (v < ring.high)
        cells = extruded.regions[ring.region]
        bands[ring.name] = cells[inside[extruded.triangles[cells]]]
    return bands
