# SPDX-License-Identifier: MIT
"""From the lattice table of a case to the lattice on its surface."""

import numpy as np

from cases import schema_lattice as written
from cases.building import shape_of
from cases.schema import Case
from geometry.caps import arc_at_radius
from geometry.chart import Chart, Revolution, chart_of
from geometry.errors import InputError
from geometry.lattice import CELLS, Cell
from geometry.laying import Lattice, lay
from geometry.measured import measured
from geometry.shapes import Dome, Shape

__all__ = ["cell_of", "lattice_of"]


def cell_of(given: written.Cell) -> Cell:
    """The flat cell.

    Raises:
        InputError: Its lengths and angles do not go together.
    """
    sizes = {key: getattr(given, key) for key in type(given).model_fields if key != "kind"}
    return CELLS[given.kind](**sizes)


def lattice_of(case: Case) -> Lattice:
    """The lattice of a case, laid on the drawn surface, or on the measured one if there is one.

    Raises:
        InputError: The case has none, its cell cannot be, or no cell fits.
    """
    table = case.lattice
    if table is None:
        raise InputError("lattice: this case has none; add the table [lattice]", key="lattice")
    shape = shape_of(case)
    chart: Chart = chart_of(shape, table.side, depth=table.depth)
    if isinstance(table.measured, written.MeasuredGrid):
        chart = measured(table.measured.heights, table.measured.radii)
    return lay(
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


def _span(shape: Shape, chart: Chart, table: written.Lattice) -> tuple[float, float]:
    """Range of v between the given heights of the inner face; on a dome between radii."""
    if not isinstance(chart, Revolution):
        return chart.low, chart.high
    ends = {"from": table.start, "to": table.end}
    found = {"from": chart.low, "to": chart.high}
    for key, place in ends.items():
        if place is None:
            continue
        if isinstance(shape, Dome):
            arc = arc_at_radius(chart.meridian, place, f"lattice.{key}")
            key = "to" if key == "from" else "from"
        else:
            arc = chart.meridian.arc_at_height(place, f"lattice.{key}")
        found[key] = float(chart.at_arc(np.array(arc)))
    return found["from"], found["to"]
