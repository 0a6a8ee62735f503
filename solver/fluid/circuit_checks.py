# SPDX-License-Identifier: MIT
"""What the elements of a circuit must agree on; all findings are yielded, to be reported together."""

from collections import defaultdict
from collections.abc import Callable, Iterable, Iterator, Sequence

from annelid.geometry.checks import nearest
from annelid.geometry.errors import Finding, InvalidValue
from annelid.solver.fluid.conductors import Valve
from annelid.solver.fluid.elements import GROUND, AtNode, Element
from annelid.solver.fluid.sources import PressureSource
from annelid.solver.fluid.stores import Chamber, Compliance, LumenStore


def check_circuit(elements: Sequence[Element], openings: Sequence[str] = ()) -> Iterator[Finding]:
    """Yield what is wrong with the elements of a circuit.

    Args:
        elements: The elements, in the order of the table ``elements``.
        openings: Nodes to which an end of the lumen is connected.
    """
    nodes = {node for element in elements for node in element.nodes} - {GROUND}
    yield from _names(elements)
    yield from _single(elements, LumenStore, lambda element: "", "the circuit has a lumen already")
    yield from _single(elements, PressureSource, lambda element: element.node, "its node has one already")
    yield from _valves(elements, openings)
    for i, node in enumerate(openings):
        if node not in nodes:
            known = f"{nearest(node, nodes)}; nodes: {', '.join(sorted(nodes))}"
            text = f"'{node}' is not a node of the circuit{known}"
            yield Finding(("openings", i), InvalidValue(text, value=node))
    yield from _references(elements, nodes, openings)


def check_initial(elements: Sequence[Element], initial: Iterable[str]) -> Iterator[Finding]:
    """Yield what is wrong with the nodes whose pressure at the start is given.

    Args:
        elements: The elements.
        initial: Names of the nodes; each needs a compliance or a chamber, and is not that of the lumen.
    """
    nodes = {node for element in elements for node in element.nodes} - {GROUND}
    storing = {e.node for e in elements if isinstance(e, Compliance | Chamber)}
    lumens = {e.node for e in elements if isinstance(e, LumenStore)}
    for node in initial:
        if node not in nodes:
            text = f"is not a node of the circuit{nearest(node, nodes)}; nodes: {', '.join(sorted(nodes))}"
        elif node in lumens:
            text = "is the node of the lumen, which starts at the pressure of the stage before: leave it out"
        elif node not in storing:
            text = "has no compliance or chamber, so its pressure follows from the others: leave it out"
        else:
            continue
        yield Finding((), InvalidValue(text, key=node, value=node))


def _names(elements: Sequence[Element]) -> Iterator[Finding]:
    """Two elements with one name."""
    seen: set[str] = set()
    for i, element in enumerate(elements):
        if element.name in seen:
            text = f"'{element.name}' names two elements of the circuit: choose another name"
            yield Finding(("elements", i), InvalidValue(text, key="name", value=element.name))
        seen.add(element.name)


def _single(
    elements: Sequence[Element], kind: type[AtNode], place: Callable[[AtNode], str], text: str
) -> Iterator[Finding]:
    """Two elements of a kind where there may be one."""
    seen: set[str] = set()
    for i, element in enumerate(elements):
        if not isinstance(element, kind):
            continue
        if place(element) in seen:
            error = InvalidValue(
                f"is '{element.node}': {text}; leave one out",
                key="node",
                subject=element.subject,
                value=element.node,
            )
            yield Finding(("elements", i), error)
        seen.add(place(element))


def _valves(elements: Sequence[Element], openings: Sequence[str]) -> Iterator[Finding]:
    """Valves at a node that can only be filled or only be emptied, so that nothing can ever flow."""
    at = defaultdict(list)
    for element in elements:
        for node in element.nodes:
            at[node].append(element)
    for i, valve in enumerate(elements):
        if not isinstance(valve, Valve):
            continue
        for key in ("start", "end"):
            node = getattr(valve, key)
            same_way = all(isinstance(other, Valve) and getattr(other, key) == node for other in at[node])
            if same_way and node not in (GROUND, *openings):
                error = InvalidValue(
                    f"is '{node}', from which nothing {'comes' if key == 'start' else 'goes on'}, so the "
                    "valve never has a flow: connect the node to another element",
                    key=key,
                    subject=valve.subject,
                    value=node,
                )
                yield Finding(("elements", i), error)


def _references(elements: Sequence[Element], nodes: set[str], openings: Sequence[str]) -> Iterator[Finding]:
    """Nodes whose pressure nothing determines."""
    reached = {GROUND, *openings} | {element.nodes[0] for element in elements if element.refers}
    paths = [set(element.nodes) for element in elements if element.conducts]
    while new := {node for path in paths if path & reached for node in path - reached}:
        reached |= new
    loose = sorted(nodes - reached)
    if not loose:
        return
    remedy = "connect one of them to ground, a pressure source, a compliance, a chamber or the lumen"
    what = "the circuit floats: no node has" if set(loose) == nodes else f"nodes {', '.join(loose)} have no"
    path = "a path to a given pressure" if set(loose) == nodes else "path to a given pressure"
    yield Finding((), InvalidValue(f"{what} {path}; {remedy}", key="elements", value=loose))
