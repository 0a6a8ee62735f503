# SPDX-License-Identifier: MIT
"""Conversion of the lattice table of a case into the lattice on its surface and its mesh."""

from collections.abc import Iterator
from functools import partial

import numpy as np

from annelid.cases.convert.making import inflated_wall
from annelid.cases.convert.shape import band_of, entries_of, shape_of
from annelid.cases.convert.skin import skin_of
from annelid.cases.schema.case import Case
from annelid.cases.schema.lattice import CellTable, LatticeTable, MeasuredGridTable
from annelid.geometry.errors import Finding, InvalidValue, checking
from annelid.geometry.lattice.catalogue import CELLS, LatticeCell
from annelid.geometry.lattice.chart import Chart, RevolutionChart, chart_of
from annelid.geometry.lattice.measured_chart import MeasuredChart, measured_chart
from annelid.geometry.lattice.wrapping import Lattice, wrap
from annelid.geometry.lattice_mesh.inflated_wall import InflatedWall
from annelid.geometry.lattice_mesh.lattice_sheet import LatticeMeshSize
from annelid.geometry.lattice_mesh.measured_wall import MeasuredWall
from annelid.geometry.shapes.dome_meridian import arc_at_radius
from annelid.geometry.shapes.shape import Shape
from annelid.geometry.shapes.sleeve import Sleeve

__all__ = [
    "angle_note",
    "cell_of",
    "lattice_conflicts",
    "lattice_mesh_size_of",
    "lattice_of",
    "region_names",
    "v_at",
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
        along=mesh.size,
        on_struts=mesh.on_struts,
        through=mesh.elements,
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
                v = v_at(shape, chart, place, key)
            other = {"from": "to", "to": "from"}[key]
            span[other if shape.bands_by_radius else key] = v
    return span["from"], span["to"]


def v_at(shape: Shape, chart: Chart, place: float, key: str) -> float:
    """Return the coordinate v of a chart at a height of the inner face, or at a radius on a dome, mm."""
    if isinstance(chart, MeasuredChart):
        return chart.v_at_height(place, key)
    assert isinstance(chart, RevolutionChart)
    locate = partial(arc_at_radius, chart.meridian) if shape.bands_by_radius else chart.meridian.arc_at_height
    return float(np.clip(chart.v_at_arc(np.array(locate(place, key))), chart.low, chart.high))


def angle_note(chart: MeasuredChart) -> str:
    """State the largest error of the angles of cells on a measured surface."""
    return (
        "the angles of cells on the measured surface differ from those of the flat cell by at most "
        f"{chart.angle_error:.2g} degrees"
    )


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
    measured = table.measured is not None and case.making is None and table.side == "outside"
    if shape.uneven and not measured:
        index = next(number for number, layer in enumerate(shape.layers) if layer.uneven is not None)
        text = (
            "an uneven wall with a lattice needs its outer face: give lattice.measured (of a straight tube "
            "its radii are inner_radius plus the thicknesses) with lattice.side = 'outside' and without "
            "[making], or one thickness"
        )
        yield Finding(("shape", "layers", index), InvalidValue(text, key="thickness_map"))
    if isinstance(shape, Sleeve) and table.side == "inside":
        text = "'inside' would put the struts into the core of the sleeve: choose 'outside' or 'embedded'"
        yield Finding(("lattice",), InvalidValue(text, key="side"))
    for index, electrode in enumerate(case.electrodes):
        band = band_of(electrode)
        if not band.all_around:
            text = f"the electrodes of a wall with a lattice go all around: leave out {band.key}"
            error = InvalidValue(text, key=band.key, subject=f"electrode '{band.name}'")
            yield Finding(("electrodes", index), error)
    if case.electrics.model == "solved" and case.electrodes:
        text = "'solved' needs meshed electrode faces, and a wall with a lattice has none: choose 'layered'"
        yield Finding(("electrics",), InvalidValue(text, key="model"))
