# SPDX-License-Identifier: MIT
"""Build the mesh of a body from a shape and mesh sizes."""

import math
from collections.abc import Sequence

import numpy as np

from annelid.geometry.body import Body
from annelid.geometry.errors import raise_first
from annelid.geometry.meshing.band_cells import angular_limits, covered_cells
from annelid.geometry.meshing.layout import lay_out
from annelid.geometry.meshing.mapped_plane import MappedPlane
from annelid.geometry.meshing.mesh_size import MeshSize, check_count
from annelid.geometry.meshing.plane_mesh import PlaneMesh, mesh_plane
from annelid.geometry.meshing.quality import check_quality
from annelid.geometry.meshing.region_names import GridMesh, named_cells, named_facets
from annelid.geometry.meshing.revolve import covered_angle, cylindrical_to_cartesian, sweep
from annelid.geometry.meshing.tetrahedra import PIECES, split
from annelid.geometry.meshing.uneven_wall import unevenness_findings
from annelid.geometry.shapes.band import Band
from annelid.geometry.shapes.shape import Shape

_SAME_ANGLE = 1e-9  # radians


def build(shape: Shape, size: MeshSize, bands: Sequence[Band] = (), *, lines: Sequence[float] = ()) -> Body:
    """Mesh a shape.

    Args:
        shape: Tube, sleeve, balloon or dome.
        size: Model and element sizes.
        bands: Electrodes; the mesh has cell edges exactly at their heights and angles. A helix consists of
            the cells whose centres it covers; the notes of the body state the error of its area.
        lines: Further heights Z (on a dome: radii R) at which the mesh has cell edges, mm.

    Returns:
        The body; all its nodes, including mid-side nodes, lie on the true shape.

    Raises:
        InputError: If bands or lines do not fit the shape, or the mesh quality is below the floor.
    """
    raise_first(unevenness_findings(shape, size))
    mapped = lay_out(shape, size, bands, lines)
    _check_count(mapped, size)
    plane = mesh_plane(mapped)
    axisymmetric = size.model == "axisymmetric"
    body = _meridian_body(mapped, plane) if axisymmetric else _space_body(mapped, plane, size, bands)
    check_quality(body)
    return body


def _check_count(mapped: MappedPlane, size: MeshSize) -> None:
    """Refuse a mesh that could only exhaust the memory."""
    cells = int(mapped.columns.sum()) * int(mapped.rows.sum())
    if size.model != "axisymmetric":
        cells = math.ceil(cells * size.around * covered_angle(size) / (2 * math.pi))
    sizes = f"along = {size.along:g} mm, through = {size.through} and around = {size.around}"
    remedy = "make mesh.along larger"
    if size.across_core is not None:
        sizes, remedy = f"across_core = {size.across_core:g} mm, {sizes}", f"{remedy}, or mesh.across_core"
    check_count(cells, sizes, remedy)


def _meridian_body(mapped: MappedPlane, plane: PlaneMesh) -> Body:
    mesh = GridMesh("quad9", plane.nodes.astype(np.float64), plane.cells, plane.patches)
    angle = np.zeros(len(mesh.grid))
    placed = mapped.placed(mesh.grid, angle)
    regions, bands = named_cells(mapped, mesh)
    facets, surfaces = named_facets(mapped, mesh, bands, {})
    return Body(
        model="axisymmetric",
        points=placed.position,
        cell_type="quad9",
        cells=mesh.cells,
        regions=regions,
        bands=bands,
        facets=facets,
        surfaces=surfaces,
        normal=placed.normal,
        layer_thickness=mapped.layer_thickness(mesh.grid, angle),
        grid=plane.nodes,
    )


def _space_body(mapped: MappedPlane, plane: PlaneMesh, size: MeshSize, electrodes: Sequence[Band]) -> Body:
    swept = sweep(mapped, plane, size, angular_limits(electrodes))
    covered, notes = covered_cells(electrodes, mapped, swept)
    mesh = GridMesh("hexahedron27", swept.grid, swept.cells, swept.patches)
    if size.cells == "tetrahedra":
        mesh = GridMesh("tetra10", swept.grid, split(swept.cells), np.repeat(swept.patches, PIECES, axis=0))
        covered = {name: np.repeat(inside, PIECES) for name, inside in covered.items()}
    placed = mapped.placed(mesh.grid, swept.angle)
    points, normal = (cylindrical_to_cartesian(flat, swept.angle) for flat in placed)
    planes = {}
    if size.model == "sector":
        on_axis = placed.position[:, 0] == 0.0
        for name, angle in (("side_low", 0.0), ("side_high", covered_angle(size))):
            planes[name] = np.flatnonzero(on_axis | (np.abs(swept.angle - angle) < _SAME_ANGLE))
    regions, bands = named_cells(mapped, mesh, covered)
    facets, surfaces = named_facets(mapped, mesh, bands, planes)
    return Body(
        model=size.model,
        points=points,
        cell_type=mesh.cell_type,
        cells=mesh.cells,
        regions=regions,
        bands=bands,
        facets=facets,
        surfaces={name: members for name, members in surfaces.items() if name != "axis"},
        normal=normal,
        hoop=np.column_stack([-np.sin(swept.angle), np.cos(swept.angle), np.zeros(len(points))]),
        multiplicity=2 * np.pi / covered_angle(size),
        notes=notes,
        layer_thickness=mapped.layer_thickness(mesh.grid, swept.angle),
    )
