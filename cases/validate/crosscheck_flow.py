# SPDX-License-Identifier: MIT
"""Checks of the tables of a circuit, a fluid and feeds, by the keys of the case file."""

from collections import Counter
from collections.abc import Iterator

from annelid.cases.convert.flow import WRITTEN, elements_of, most_sections
from annelid.cases.schema.case import Case
from annelid.cases.schema.flow import FluidEndTable
from annelid.geometry.checks import nearest
from annelid.geometry.errors import Finding, InvalidValue
from annelid.geometry.shapes.shape import Shape
from annelid.solver.fluid.circuit_checks import check_circuit, check_initial
from annelid.solver.fluid.elements import Element

__all__ = ["check_flow_tables", "check_fluid"]


def check_flow_tables(case: Case) -> Iterator[Finding]:
    """Yield what is wrong with the circuit, the ends of the fluid, and the electrodes of the feeds."""
    yield from _circuit(case)
    yield from _ends(case)
    yield from _feeds(case)


def check_fluid(case: Case, shape: Shape) -> Iterator[Finding]:
    """Refuse more sections of the lumen than elements along it, and a gap as wide as the lumen."""
    if case.fluid is None:
        return
    sections, most = case.fluid.sections, most_sections(case, shape)
    if sections is not None and sections > most:
        text = (
            f"{sections} are more than the {most} elements along the lumen: take fewer, or make them smaller"
        )
        yield Finding(("fluid",), InvalidValue(text, key="sections", value=sections))
    radius = shape.slenderness * shape.thinnest  # the largest one
    if case.fluid.gap >= radius:
        text = f"must be below the radius of the lumen, {radius:g} mm, got {case.fluid.gap:g} mm"
        yield Finding(("fluid",), InvalidValue(text, key="gap", value=case.fluid.gap))


def _circuit(case: Case) -> Iterator[Finding]:
    """The elements, each and then together."""
    if case.circuit is None:
        return
    placed: list[tuple[int, Element]] = []
    faults = [*_names(case), *_lumens(case)]
    for index, table in enumerate(case.circuit.elements):
        try:
            placed += [(index, element) for element in elements_of((table,))]
        except InvalidValue as error:
            faults.append(_at(index, error))
    yield from faults
    if faults:
        return
    elements, openings = [element for _, element in placed], _openings(case)
    for keys, fault in check_circuit(elements, [node for _, node in openings]):
        if keys[:1] == ("openings",):
            yield Finding(("fluid",), fault.within(f"{openings[int(keys[1])][0]}.node"))
        else:
            yield _at(placed[int(keys[1])][0], fault) if keys else Finding(("circuit",), fault)
    for _, fault in check_initial(elements, case.circuit.initial):
        yield Finding(("circuit",), fault.within("initial"))


def _lumens(case: Case) -> Iterator[Finding]:
    """The lumen is an element, or it is that of the fluid."""
    assert case.circuit is not None
    lumens = [index for index, table in enumerate(case.circuit.elements) if table.kind == "lumen"]
    if case.fluid is not None:
        text = (
            "'lumen' cannot be combined with [fluid], which describes the same lumen: leave one of them out"
        )
        yield from (_at(index, InvalidValue(text, key="kind")) for index in lumens)
    elif not lumens:
        text = "have no lumen among them: add one of kind = 'lumen', or a table [fluid]"
        yield Finding(("circuit",), InvalidValue(text, key="elements"))


def _names(case: Case) -> Iterator[Finding]:
    """Names that several elements have."""
    assert case.circuit is not None
    names = [table.name for table in case.circuit.elements]
    for name, count in Counter(names).items():
        if count > 1:
            text = f"'{name}' names {count} elements of the circuit: choose other names"
            yield _at(names.index(name), InvalidValue(text, key="name", value=name))


def _at(index: int, error: InvalidValue) -> Finding:
    """A finding at an element, with its key as it is written."""
    written = InvalidValue(error.problem, key=WRITTEN.get(error.key, error.key), **error.data)
    return Finding(("circuit", "elements", index), written)


def _openings(case: Case) -> list[tuple[str, str]]:
    """Ends of the fluid at nodes of the circuit, with these nodes."""
    if case.fluid is None:
        return []
    ends: dict[str, FluidEndTable] = {"lower": case.fluid.lower, "upper": case.fluid.upper}
    return [(key, end.node) for key, end in ends.items() if end.kind == "circuit" and end.node is not None]


def _ends(case: Case) -> Iterator[Finding]:
    """An end of the fluid and the circuit go together."""
    if case.circuit is None:
        for end, node in _openings(case):
            text = f"'{node}' is a node of no circuit: add a table [circuit]"
            yield Finding(("fluid",), InvalidValue(text, key=f"{end}.node", value=node))
    elif case.fluid is not None and "circuit" not in (case.fluid.lower.kind, case.fluid.upper.kind):
        text = "is at no end of the fluid: give an end kind = 'circuit' and a node, or leave the circuit out"
        yield Finding(("circuit",), InvalidValue(text))


def _feeds(case: Case) -> Iterator[Finding]:
    """Each electrode is fed once, and exists."""
    names = [electrode.name for electrode in case.electrodes]
    seen: set[str] = set()
    for index, feed in enumerate(case.feeds):
        for name in feed.on:
            text = ""
            if name in seen:
                text = f"'{name}' is fed twice: leave one feed out"
            elif name not in names:
                text = f"'{name}' is not an electrode{nearest(name, names)}"
            if text:
                yield Finding(("feeds", index), InvalidValue(text, key="on", value=name))
            seen.add(name)
