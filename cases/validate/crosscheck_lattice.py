# SPDX-License-Identifier: MIT
"""Checks of the lattice and of its making; all errors are collected."""

from collections.abc import Iterator

from annelid.cases.convert.lattice import cell_of, lattice_conflicts, lattice_mesh_size_of
from annelid.cases.convert.making import measured_face_of
from annelid.cases.convert.shape import edge_range, entries_of, measured_heights
from annelid.cases.convert.skin import inflation_of, skin_mesh_size_of
from annelid.cases.schema.case import Case
from annelid.cases.schema.lattice import LatticeTable
from annelid.cases.schema.making import MakingTable
from annelid.cases.validate.findings import Findings
from annelid.geometry.errors import Finding, InvalidValue
from annelid.geometry.lattice.wrapping import check_placement
from annelid.geometry.printing.settings import PrinterSettings
from annelid.geometry.shapes.band import check_edges
from annelid.geometry.shapes.shape import Shape
from annelid.solver.model.parts import Fibres

__all__ = ["check_lattice", "check_making"]

_PLACEMENT = ("height", "side", "depth", "around", "along", "ring", "smallest")


def check_lattice(case: Case, findings: Findings, shape: Shape | None) -> None:
    """Check the cell, placement, printing and measured surface of the lattice, also against the shape."""
    if case.lattice is None or not findings.complete("lattice"):
        return
    table, values = case.lattice, entries_of(case.lattice)
    with findings.catching("lattice", "cell"):
        cell_of(table.cell)
    with findings.catching("lattice", "printing"):
        PrinterSettings(**entries_of(table.printing))
    with findings.catching("lattice"):
        check_placement(**{key: values[key] for key in _PLACEMENT})
    with findings.catching("lattice", "measured"):
        measured_face_of(case)
    if findings.complete("mesh"):
        with findings.catching("mesh"):
            lattice_mesh_size_of(case)
    if shape is None or not findings.complete("lattice", "making"):
        return
    if case.making is None:  # with a making, heights are those of the inflated shape
        with findings.catching("lattice"):
            _check_ends(table, measured_heights(case) or edge_range(case, shape))
    if findings.complete("mesh", "electrics") and case.mesh.model != "axisymmetric":
        findings.check(lattice_conflicts(case, shape))


def _check_ends(table: LatticeTable, edges: tuple[float, float]) -> None:
    low, high = edges
    start = low if table.start is None else table.start
    check_edges(start, high if table.end is None else table.end, edges)


def check_making(case: Case, findings: Findings) -> None:
    """Check how the skin is inflated, and whether there is a lattice that can be printed on it."""
    making = case.making
    if making is None or not findings.complete("making"):
        return
    with findings.catching("making"):
        inflation_of(making)
    if findings.complete("mesh"):
        with findings.catching("making"):
            skin_mesh_size_of(case)
    if findings.complete("lattice", "mesh", "shape"):
        findings.check(_making_findings(case, making))


def _making_findings(case: Case, making: MakingTable) -> Iterator[Finding]:
    measured = case.lattice is not None and case.lattice.measured is not None
    given = sum(value is not None for value in (making.pressure, making.volume, making.stretch))
    if given > 1 or not (given or measured):
        text = "give one of pressure, volume and stretch, up to which the skin is inflated"
        yield Finding(("making",), InvalidValue(text))
    for index, part in enumerate(case.parts):
        if part.fibres is not None and Fibres(**entries_of(part.fibres)).twist:
            text = (
                "one family would twist the skin while it is inflated: choose 2 families, or remove [making]"
            )
            yield Finding(("parts", index), InvalidValue(text, key="fibres.families"))
    if case.lattice is None:
        yield Finding(
            ("making",),
            InvalidValue("needs a lattice that is printed on the skin: add [lattice], or remove [making]"),
        )
    elif case.lattice.side != "outside":
        text = (
            f"'{case.lattice.side}' struts cannot be printed on an inflated skin, because no nozzle reaches "
            "its inside: choose 'outside', and name the layers that are cast over the struts in making.cover"
        )
        yield Finding(("lattice",), InvalidValue(text, key="side"))
    layers = tuple(layer.name for layer in case.shape.layers)
    cover = making.cover
    if cover and (layers[-len(cover) :] != cover or len(cover) == len(layers)):
        text = (
            "must name the outermost layers, from inside to outside, but not all layers; the layers are: "
            f"{', '.join(layers)}"
        )
        yield Finding(("making",), InvalidValue(text, key="cover"))
    if case.mesh.model == "axisymmetric":
        text = (
            "must be 'solid' or 'sector' with [making], because the printed part is not a body of revolution"
        )
        yield Finding(("mesh",), InvalidValue(text, key="model"))
