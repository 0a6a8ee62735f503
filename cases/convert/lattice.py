# SPDX-License-Identifier: MIT
"""From the lattice table of a case to the lattice on its surface."""

from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from annelid.cases.convert.making import inflated_wall, skin_of
from annelid.cases.convert.shape import shape_of
from annelid.cases.schema import lattice as written
from annelid.cases.schema.case import Case
from annelid.cases.schema.shape import Mesh
from annelid.geometry.body import Body
from annelid.geometry.errors import InputError
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
from annelid.geometry.shapes.balloon import Balloon
from annelid.geometry.shapes.dome import Dome
from annelid.geometry.shapes.dome_meridian import arc_at_radius
from annelid.geometry.shapes.shape import Shape
from annelid.geometry.shapes.sleeve import Sleeve
from annelid.geometry.shapes.tube import Tube

__all__ = ["angles_told", "cell_of", "lattice_of", "latticed_body_of"]


def cell_of(given: written.Cell) -> LatticeCell:
    """The flat cell.

    Raises:
        InputError: Its lengths and angles do not go together.
    """
    sizes = {key: getattr(given, key) for key in type(given).model_fields if key != "kind"}
    return CELLS[given.kind](**sizes)


def lattice_of(case: Case, wall: InflatedWall | MeasuredWall | None = None) -> Lattice:
    """The lattice of a case, laid on the drawn surface, on the inflated or on the measured one.

    Args:
        case: The case.
        wall: Its wall as inflated, if that is known already.

    Raises:
        InputError: The case has none, its cell cannot be, or no cell fits.
    """
    table = case.lattice
    if table is None:
        raise InputError("lattice: this case has none; add the table [lattice]", key="lattice")
    shape = shape_of(case)
    chart: Chart
    if case.making is not None:
        chart = (wall or inflated_wall(case)[0]).chart
    elif isinstance(table.measured, written.MeasuredGrid):
        chart = measured_chart(table.measured.heights, table.measured.radii, offset=_under_outer(case, table))
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


def _under_outer(case: Case, table: written.Lattice) -> float:
    """How far the lattice's surface lies off the outer face of the skin, mm."""
    wall = sum(layer.thickness for layer in skin_of(case).layers)
    return {"outside": 0.0, "inside": -wall, "embedded": (table.depth - 1.0) * wall}[table.side]


def _span(shape: Shape, chart: Chart, table: written.Lattice) -> tuple[float, float]:
    """Range of v between the given heights of the inner face; on a dome between radii."""
    ends = {"from": table.start, "to": table.end}
    found = {"from": chart.low, "to": chart.high}
    for key, place in ends.items():
        if place is None:
            continue
        if isinstance(chart, MeasuredChart):
            found[key] = chart.v_at_height(place, f"lattice.{key}")
            continue
        assert isinstance(chart, RevolutionChart)
        if isinstance(shape, Dome):
            arc = arc_at_radius(chart.meridian, place, f"lattice.{key}")
            key = "to" if key == "from" else "from"
        else:
            arc = chart.meridian.arc_at_height(place, f"lattice.{key}")
        found[key] = float(np.clip(chart.v_at_arc(np.array(arc)), chart.low, chart.high))
    return found["from"], found["to"]


def latticed_body_of(case: Case) -> Body:
    """Mesh the wall of a case with its lattice.

    Raises:
        InputError: The model cannot draw this lattice, or it cannot be meshed well enough.
    """
    wall, pressure = inflated_wall(case) if case.making is not None else (None, None)
    lattice, shape, mesh = lattice_of(case, wall), shape_of(case), case.mesh
    _check_drawable(case, shape, lattice)
    assert case.lattice is not None
    size = LatticeMeshSize(
        along=mesh.along,
        on_struts=mesh.on_struts,
        through=mesh.through,
        through_struts=mesh.through_struts,
        sector=mesh.sector if mesh.model == "sector" else 360.0,
        edge_zone=3 * _edge_length(shape, lattice) if wall is not None else 0.0,
        separate_rings="end ring" in {part.region for part in case.parts},
    )
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
    """What a measured surface is like."""
    if isinstance(wall, MeasuredWall):
        off = wall.deviation
        text = (
            f"the measured face lies {off.root_mean_square:.3f} mm (root mean square), at most "
            f"{off.maximum:.3f} mm, off the skin as its inflation was computed, and differs from it by "
            f"{off.length_difference:+.3f} mm in length"
        )
        yield "measured face", text
    if isinstance(lattice.chart, MeasuredChart):
        yield "angles", angles_told(lattice.chart)


def angles_told(chart: MeasuredChart) -> str:
    """How far cells on a measured surface keep their angles."""
    return f"angles of cells on the measured surface are off by at most {chart.angle_error:.2g} degrees"


def _core_of(shape: Shape, along: float) -> Core | None:
    """What lies within a sleeve."""
    if not isinstance(shape, Sleeve):
        return None
    top = shape.length + 2 * shape.core_overhang
    return Core(
        radius=shape.core_radius, inner_radius=shape.core_inner_radius, low=0.0, high=top, along=along
    )


def _caps_of(skin: Shape, mesh: Mesh, inflated: InflatedWall | MeasuredWall | None) -> EndCaps | None:
    """What closes the ends of a tube."""
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
    """Length sqrt(R t) over which an edge is felt in the wall, at its ends, mm."""
    ends = np.array([[0.0, lattice.chart.low], [0.0, lattice.chart.high]])
    thickness = sum(layer.thickness for layer in shape.layers)
    return float(np.sqrt(lattice.chart.scale(ends).max() * thickness))


def rings_of(
    case: Case, chart: Chart, wall: InflatedWall | MeasuredWall | None = None
) -> list[RingElectrode]:
    """The ring electrodes of a case in a chart; their edges are heights of the stress-free skin, or radii.

    On a measured surface an edge is the line of equal v that runs at its height on the whole.
    """
    dome = case.shape.kind == "dome"

    def at(place: float, key: str) -> float:
        if dome and isinstance(wall, InflatedWall):
            return wall.v_at_radius(place)
        if wall is not None:
            return wall.v_at_height(place)
        if isinstance(chart, MeasuredChart):
            return chart.v_at_height(place, key)
        assert isinstance(chart, RevolutionChart)
        meridian = chart.meridian
        arc = arc_at_radius(meridian, place, key) if dome else meridian.arc_at_height(place, key)
        return float(chart.v_at_arc(np.array(arc)))

    found = []
    for e in case.electrodes:
        edges = at(e.start or 0.0, "electrode.from"), at(e.end or 0.0, "electrode.to")
        found.append(RingElectrode(e.name, e.region, min(edges), max(edges)))
    return found


def _check_drawable(case: Case, shape: Shape, lattice: Lattice) -> None:
    """Refuse what a mesh with struts cannot be."""
    if case.mesh.model == "axisymmetric":
        text = 'mesh.model: a lattice is no body of revolution; choose "solid" or "sector", or leave it out'
        raise InputError(text, key="mesh.model")
    closed = isinstance(shape, Dome) or (isinstance(shape, Balloon) and any(shape.meridian.poles))
    closed |= isinstance(shape, Tube) and shape.ends == "capped"
    if isinstance(lattice.chart, MeasuredChart) and (closed or isinstance(shape, Sleeve)):
        raise InputError(
            f"lattice.measured: a measured surface is open at both ends and empty; it cannot take the place "
            f"of a {case.shape.kind}{' that is closed' if closed else ' with its core'}; draw a "
            f'tube (shape.kind = "tube") with its layers',
            key="lattice.measured",
        )
    if isinstance(shape, Sleeve) and case.lattice is not None and case.lattice.side == "inside":
        raise InputError(
            'lattice.side: "inside" would put the struts into the core of the sleeve; choose "outside" or '
            '"embedded"',
            key="lattice.side",
        )
    if case.electrics.model == "solved" and case.electrodes:
        raise InputError(
            'electrics.model: "solved" needs drawn hot faces, which a wall with a lattice has not; choose '
            '"layered"',
            key="electrics.model",
        )
