# SPDX-License-Identifier: MIT
"""Conversion of the lattice table of a case into the lattice on its surface and its mesh."""

from collections.abc import Iterator
from dataclasses import replace
from functools import partial

import numpy as np

from annelid.cases.convert.making import inflated_wall, skin_of
from annelid.cases.convert.shape import entries_of, shape_of
from annelid.cases.schema.case import Case
from annelid.cases.schema.lattice import CellTable, LatticeTable, MeasuredGridTable
from annelid.cases.schema.shape import MeshTable
from annelid.geometry.body import Body
from annelid.geometry.errors import Finding, InvalidValue, checking
from annelid.geometry.lattice.catalogue import CELLS, LatticeCell
from annelid.geometry.lattice.chart import Chart, RevolutionChart, chart_of
from annelid.geometry.lattice.measured_chart import MeasuredChart, measured_chart
from annelid.geometry.lattice.wrapping import Lattice, wrap
from annelid.geometry.lattice_mesh.capped_body import EndCaps
from annelid.geometry.lattice_mesh.core_surface import Core
from annelid.geometry.lattice_mesh.inflated_wall import InflatedWall
from annelid.geometry.lattice_mesh.lattice_body import lattice_body
from annelid.geometry.lattice_mesh.lattice_sheet import LatticeMeshSize, RingElectrode
from annelid.geometry.lattice_mesh.measured_wall import MeasuredWall
from annelid.geometry.meshing.grid_lines import pieces
from annelid.geometry.shapes.dome_meridian import arc_at_radius
from annelid.geometry.shapes.shape import Shape
from annelid.geometry.shapes.sleeve import Sleeve
from annelid.geometry.shapes.tube import Tube

__all__ = [
    "angle_note",
    "cell_of",
    "lattice_conflicts",
    "lattice_mesh_size_of",
    "lattice_of",
    "latticed_body_of",
    "region_names",
]


def cell_of(table: CellTable) -> LatticeCell:
    """Return the flat cell.

    Raises:
        InvalidValue: Its lengths and angles are not compatible.
    """
    return CELLS[table.kind](**entries_of(table))


def region_names(case: Case, shape: Shape) -> tuple[str, ...]:
    """Return the regions of the body of a case."""
    names = [layer.name for layer in shape.layers] + list(shape.extra_volumes())
    if case.lattice is not None:
        names += ["lattice", "end ring"] if case.lattice.ring > 0 else ["lattice"]
    return tuple(names)


def lattice_mesh_size_of(case: Case) -> LatticeMeshSize:
    """Return the element sizes of a wall with a lattice."""
    mesh = case.mesh
    return LatticeMeshSize(
        along=mesh.along,
        on_struts=mesh.on_struts,
        through=mesh.through,
        through_struts=mesh.through_struts,
        sector=mesh.sector if mesh.model == "sector" else 360.0,
        separate_rings="end ring" in {part.region for part in case.parts},
    )


def lattice_of(case: Case, wall: InflatedWall | MeasuredWall | None = None) -> Lattice:
    """Wrap the lattice of a case around its drawn, inflated or measured surface.

    Args:
        case: The case.
        wall: Its inflated wall, if it was already computed.

    Raises:
        InputError: The case has no lattice, its cell is not valid, or no cell fits.
    """
    table = case.lattice
    if table is None:
        raise InvalidValue("missing: this command needs a case with the table [lattice]", key="lattice")
    shape = shape_of(case)
    chart: Chart
    if case.making is not None:
        chart = (wall or inflated_wall(case)[0]).chart
    elif isinstance(table.measured, MeasuredGridTable):
        chart = measured_chart(
            table.measured.heights, table.measured.radii, offset=_offset_from_outer_face(case, table)
        )
    else:
        chart = chart_of(shape, table.side, depth=table.depth)
    return wrap(
        cell_of(table.cell).pattern(),
        chart,
        height=table.height,
        side=table.side,
        around=table.around,
        along=table.along,
        ring=table.ring,
        span=_span(shape, chart, table),
        smallest=table.smallest,
    )


def _offset_from_outer_face(case: Case, table: LatticeTable) -> float:
    """Return the distance of the lattice surface from the outer face of the skin, outwards, mm."""
    wall = sum(layer.thickness for layer in skin_of(case).layers)
    return {"outside": 0.0, "inside": -wall, "embedded": (table.depth - 1.0) * wall}[table.side]


def _span(shape: Shape, chart: Chart, table: LatticeTable) -> tuple[float, float]:
    """Return the range of v between the given heights of the inner face, or between radii on a dome."""
    ends = {"from": table.start, "to": table.end}
    span = {"from": chart.low, "to": chart.high}
    for key, place in ends.items():
        if place is not None:
            with checking("lattice"):
                v = _v_at(shape, chart, place, key)
            other = {"from": "to", "to": "from"}[key]
            span[other if shape.bands_by_radius else key] = v
    return span["from"], span["to"]


def _v_at(shape: Shape, chart: Chart, place: float, key: str) -> float:
    """Return the coordinate v of a chart at a height of the inner face, or at a radius on a dome, mm."""
    if isinstance(chart, MeasuredChart):
        return chart.v_at_height(place, key)
    assert isinstance(chart, RevolutionChart)
    locate = partial(arc_at_radius, chart.meridian) if shape.bands_by_radius else chart.meridian.arc_at_height
    return float(np.clip(chart.v_at_arc(np.array(locate(place, key))), chart.low, chart.high))


def latticed_body_of(case: Case) -> Body:
    """Mesh the wall of a case with its lattice.

    Raises:
        InputError: The mesh model is axisymmetric, or the mesh quality is too low.
    """
    wall, pressure = inflated_wall(case) if case.making is not None else (None, None)
    lattice, shape, mesh = lattice_of(case, wall), shape_of(case), case.mesh
    if mesh.model == "axisymmetric":
        text = "'axisymmetric' cannot mesh a lattice: choose 'solid' or 'sector', or remove [lattice]"
        raise InvalidValue(text, key="model", subject="mesh")
    assert case.lattice is not None
    size = lattice_mesh_size_of(case)
    if wall is not None:
        size = replace(size, edge_zone=3 * _edge_length(shape, lattice))
    body = lattice_body(
        lattice,
        skin_of(case).layers,
        size,
        electrodes=rings_of(case, lattice.chart, wall),
        depth=case.lattice.depth,
        place=wall.place if wall is not None else None,
        stress_free_gradient=wall.stress_free_gradient if wall is not None else None,
        stress_free_points=wall.stress_free_points if wall is not None else None,
        cover=tuple(layer for layer in shape.layers if case.making and layer.name in case.making.cover),
        core=_core_of(shape, mesh.along),
        ends=_caps_of(skin_of(case), mesh, wall),
    )
    return replace(body, drawn_pressure=pressure, notes=dict(_notes(lattice, wall)))


def _notes(lattice: Lattice, wall: InflatedWall | MeasuredWall | None) -> Iterator[tuple[str, str]]:
    """Describe the deviation of a measured surface and the angles of its cells."""
    if isinstance(wall, MeasuredWall):
        deviation = wall.deviation
        text = (
            "the measured face deviates from the computed inflated skin by "
            f"{deviation.root_mean_square:.3f} mm (root mean square) and by at most {deviation.maximum:.3f} "
            f"mm; its length differs by {deviation.length_difference:+.3f} mm"
        )
        yield "measured face", text
    if isinstance(lattice.chart, MeasuredChart):
        yield "angles", angle_note(lattice.chart)


def angle_note(chart: MeasuredChart) -> str:
    """State the largest error of the angles of cells on a measured surface."""
    return (
        "the angles of cells on the measured surface differ from those of the flat cell by at most "
        f"{chart.angle_error:.2g} degrees"
    )


def _core_of(shape: Shape, along: float) -> Core | None:
    """Return the core inside a sleeve."""
    if not isinstance(shape, Sleeve):
        return None
    top = shape.length + 2 * shape.core_overhang
    return Core(
        radius=shape.core_radius, inner_radius=shape.core_inner_radius, low=0.0, high=top, along=along
    )


def _caps_of(skin: Shape, mesh: MeshTable, inflated: InflatedWall | MeasuredWall | None) -> EndCaps | None:
    """Return the discs that close the ends of a capped tube."""
    if not isinstance(skin, Tube) or skin.ends == "open":
        return None
    wall = sum(layer.thickness for layer in skin.layers)
    thickness = skin.cap_thickness or wall
    drawn = None
    if isinstance(inflated, InflatedWall):
        low, high = inflated.caps
        drawn = low, high
    return EndCaps(
        radius=skin.inner_radius + wall,
        thickness=thickness,
        length=skin.length,
        along=mesh.along,
        elements=max(mesh.through, pieces(thickness, mesh.along)),
        inflated=drawn,
    )


def _edge_length(shape: Shape, lattice: Lattice) -> float:
    """Return the length sqrt(R t) over which the disturbance at an end of the wall decays, mm."""
    ends = np.array([[0.0, lattice.chart.low], [0.0, lattice.chart.high]])
    thickness = sum(layer.thickness for layer in shape.layers)
    return float(np.sqrt(lattice.chart.scale(ends).max() * thickness))


def rings_of(
    case: Case, chart: Chart, wall: InflatedWall | MeasuredWall | None = None
) -> list[RingElectrode]:
    """Return the ring electrodes of a case in a chart.

    Their edges are heights of the stress-free skin, or radii on a dome. On a measured surface an edge is the
    line of constant v whose mean height is the given one.
    """
    shape = shape_of(case)

    def at(place: float, key: str) -> float:
        if isinstance(wall, InflatedWall) and shape.bands_by_radius:
            return wall.v_at_radius(place)
        return wall.v_at_height(place) if wall is not None else _v_at(shape, chart, place, key)

    rings = []
    for e in case.electrodes:
        with checking(f"electrode '{e.name}'"):
            edges = at(e.start or 0.0, "from"), at(e.end or 0.0, "to")
        rings.append(RingElectrode(e.name, e.region, min(edges), max(edges)))
    return rings


def lattice_conflicts(case: Case, shape: Shape) -> Iterator[Finding]:
    """Find combinations of a lattice with a shape or an electric model that cannot be meshed."""
    table = case.lattice
    assert table is not None
    if table.measured is not None and not shape.open_tube:
        text = (
            "a measured surface is an open tube without a core, so it cannot replace this shape: choose an "
            "open tube (shape.kind = 'tube') with the same layers"
        )
        yield Finding(("lattice",), InvalidValue(text, key="measured"))
    if isinstance(shape, Sleeve) and table.side == "inside":
        text = "'inside' would put the struts into the core of the sleeve: choose 'outside' or 'embedded'"
        yield Finding(("lattice",), InvalidValue(text, key="side"))
    if case.electrics.model == "solved" and case.electrodes:
        text = "'solved' needs meshed electrode faces, and a wall with a lattice has none: choose 'layered'"
        yield Finding(("electrics",), InvalidValue(text, key="model"))
