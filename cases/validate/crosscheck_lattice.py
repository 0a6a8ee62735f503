# SPDX-License-Identifier: MIT
"""The lattice against itself and the shape: a cell that can be, heights that lie on the part."""

from collections.abc import Iterator

from annelid.cases.convert.lattice import cell_of
from annelid.cases.schema.case import Case
from annelid.cases.schema.lattice import MeasuredGrid
from annelid.cases.validate.crosscheck_loads import Problem, edge_problems
from annelid.cases.validate.extents import lattice_span
from annelid.geometry.errors import InputError
from annelid.geometry.lattice.wrapping import Lattice

__all__ = ["lattice_problems", "making_problems"]


def lattice_problems(case: Case) -> Iterator[Problem]:
    """A cell whose lengths and angles do not go together, ends outside the part, an uneven grid."""
    if case.lattice is None:
        return
    try:
        cell_of(case.lattice.cell)
    except InputError as error:
        yield ("lattice", "cell"), error.message
    if case.making is None:  # with one they are heights of the inflated shape
        yield from edge_problems(lattice_span(case), ("lattice",), case.lattice.start, case.lattice.end)
    yield from _measured(case.lattice)


def making_problems(case: Case) -> Iterator[Problem]:
    """A making that says not how far, or has nothing to print, or would be cut flat."""
    making = case.making
    if making is None:
        return
    measured = case.lattice is not None and case.lattice.measured is not None
    given = (making.pressure is not None) + (making.volume is not None)
    if given == 2 or not (given or measured):
        yield ("making",), "say how far the skin is inflated: give either pressure or volume"
    if case.lattice is None:
        yield ("making",), "there is no lattice to be printed; add [lattice], or leave making out"
    elif case.lattice.side != "outside":
        yield (
            ("lattice", "side"),
            f'"{case.lattice.side}" struts cannot be printed on an inflated skin, whose inside no nozzle '
            'reaches; print them on it ("outside"), and name layers that are cast over them in making.cover',
        )
    yield from _cover(case, making.cover)
    if case.mesh.model == "axisymmetric":
        yield (
            ("mesh", "model"),
            'with making choose "solid" or "sector": the printed part is no body of revolution',
        )


def _cover(case: Case, cover: tuple[str, ...]) -> Iterator[Problem]:
    if not cover:
        return
    layers = [layer.name for layer in case.shape.layers]
    if tuple(layers[-len(cover) :]) != cover or len(cover) == len(layers):
        text = (
            "must be the outermost layers, inside to outside, and leave a skin; the layers are: "
            f"{', '.join(layers)}"
        )
        yield ("making", "cover"), text


def _measured(lattice: Lattice) -> Iterator[Problem]:
    measured = lattice.measured
    if not isinstance(measured, MeasuredGrid):
        return
    count = len(measured.heights)
    for index, row in enumerate(measured.radii):
        if len(row) != count:
            text = f"has {len(row)} radii, heights has {count}; give one a height"
            yield ("lattice", "measured", "radii", index), text
