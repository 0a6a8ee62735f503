# SPDX-License-Identifier: MIT
"""The solid mesh of a wall with a lattice."""

from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np

from annelid.geometry.body import Body, FloatArray, IntArray
from annelid.geometry.errors import InputError
from annelid.geometry.lattice.chart import Chart
from annelid.geometry.lattice.wrapping import Lattice
from annelid.geometry.lattice_mesh.base_nodes import base_nodes
from annelid.geometry.lattice_mesh.capped_body import EndCaps, with_caps
from annelid.geometry.lattice_mesh.core_body import with_core
from annelid.geometry.lattice_mesh.core_surface import Core
from annelid.geometry.lattice_mesh.extruded_body import STRUTS, Placement, WallPoints, extruded_body
from annelid.geometry.lattice_mesh.extrusion import ExtrudedMesh, Slab, extrude
from annelid.geometry.lattice_mesh.folded_cells import folded_cell_error
from annelid.geometry.lattice_mesh.lattice_sheet import (
    LatticeMeshSize,
    LatticeSheet,
    RingElectrode,
    lattice_sheet,
)
from annelid.geometry.lattice_mesh.pole_discs import HIGH, LOW
from annelid.geometry.lattice_mesh.uneven_layers import UnevenLayers, uneven_wall
from annelid.geometry.lattice_mesh.wall_slabs import wall_slabs, with_cover
from annelid.geometry.meshing.mesh_size import check_count
from annelid.geometry.meshing.quality import check_quality
from annelid.geometry.shapes.shape import Layer

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
    slabs, wall = wall_slabs(lattice, layers, size, depth)
    uneven = uneven_wall(lattice.chart, layers, wall[1])
    if cover:
        slabs, wall = with_cover(slabs, wall, cover, size)
    sheet = lattice_sheet(lattice, size, electrodes)
    extruded = _extruded(lattice, slabs, size, sheet)
    points, discs = extruded.flat + sheet.start, sheet.discs
    body = extruded_body(
        extruded,
        _shifted(place or normal_placement(lattice.chart), sheet, uneven),
        extent=(sheet.width, discs.high - discs.low),
        wall=wall,
        model="solid" if size.sector == 360.0 else "sector",
        multiplicity=360.0 / size.sector,
        ends=(not discs.closed[LOW], not discs.closed[HIGH]),
    )
    local = {} if uneven is None else uneven.thickness(points)
    body = replace(body, bands=_bands(extruded, sheet.triangle_v, electrodes), layer_thickness=local)
    if stress_free_gradient is not None:
        gradient = stress_free_gradient(points, extruded.depth)
        body = _with_gradients(body, extruded, {layer.name: gradient for layer in layers}, sheet.width)
    if stress_free_points is not None:
        body = replace(body, stress_free_points=stress_free_points(points, extruded.depth))
    body = _with_core_and_caps(body, core, ends)
    _check(body, extruded, points, lattice, inflated=place is not None)
    return body


def _with_core_and_caps(body: Body, core: Core | None, ends: EndCaps | None) -> Body:
    body = body if core is None else with_core(body, core)
    return body if ends is None else with_caps(body, ends)


def _shifted(place: Placement, sheet: LatticeSheet, uneven: UnevenLayers | None) -> Placement:
    """The placement of points that begin at the start of a sheet, through an uneven wall."""

    def placement(at: FloatArray, depth: FloatArray) -> WallPoints:
        moved = depth if uneven is None else uneven.through(at + sheet.start, depth)
        return place(at + sheet.start, moved)

    return placement


def _extruded(
    lattice: Lattice, slabs: list[Slab], size: LatticeMeshSize, sheet: LatticeSheet
) -> ExtrudedMesh:
    """The sheet extruded through the slabs."""
    prisms = len(sheet.mesh.triangles) * sum(slab.elements for slab in slabs)
    check_count(3 * prisms, f"through = {size.through}", "make mesh.through smaller or mesh.along larger")
    extruded = extrude(
        sheet.mesh,
        slabs,
        width=sheet.width,
        merge=size.sector == 360.0,
        pattern_map=sheet.discs.pattern_coordinates,
    )
    if size.separate_rings and lattice.rings:
        return _with_rings(extruded, sheet.triangle_v, lattice)
    return extruded


def _check(
    body: Body, extruded: ExtrudedMesh, points: FloatArray, lattice: Lattice, *, inflated: bool
) -> None:
    """Check the quality of the mesh; the error names the place of a folded cell on the lattice."""
    try:
        check_quality(body)
    except InputError as error:
        if (cell := error.data["cell"]) >= len(extruded.cells):
            raise  # of the core or a cap
        flat, depths = (values[extruded.cells[cell]] for values in (points, extruded.depth))
        raise folded_cell_error(error, lattice, flat, depths, inflated=inflated) from None


def normal_placement(chart: Chart) -> Placement:
    """Return the map that places points at their depths along the normal of the surface of a chart."""

    def place(points: FloatArray, depth: FloatArray) -> WallPoints:
        placed = chart.place(points, depth)
        return WallPoints(placed.position, placed.normal, chart.hoop(points))

    return place


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
