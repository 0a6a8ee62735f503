# SPDX-License-Identifier: MIT
"""A circuit of lumped elements as a flow system; unknowns are pressures of nodes and some of the flows."""

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from annelid.geometry.checks import within
from annelid.geometry.errors import raise_first
from annelid.solver.fluid.circuit_checks import check_circuit
from annelid.solver.fluid.conductors import Conductor
from annelid.solver.fluid.elements import GROUND, Element, TwoEnded
from annelid.solver.fluid.flow_system import Array, LumenState, Terms
from annelid.solver.fluid.sources import PressureSource
from annelid.solver.fluid.stores import LumenStore


@dataclass(frozen=True)
class Circuit:
    """Elements that are connected at nodes with names; the node ``ground`` has the pressure zero.

    Attributes:
        elements: Elements.
        sections: Number k of sections of the lumen whose volumes are given.
        openings: Nodes to which an end of the lumen is connected.
        pressure_scale: Typical pressure in MPa.

    Raises:
        InvalidValue: The elements do not make up a circuit; names the element and what to do.
    """

    elements: tuple[Element, ...]
    sections: int = 1
    openings: tuple[str, ...] = ()
    pressure_scale: float = 1e-3

    def __post_init__(self) -> None:
        within("pressure_scale", self.pressure_scale, above=0, unit="MPa")
        raise_first(check_circuit(self.elements, self.openings))

    @cached_property
    def nodes(self) -> tuple[str, ...]:
        """Nodes other than ground, in the order of their pressures."""
        named = dict.fromkeys(node for element in self.elements for node in element.nodes)
        return tuple(node for node in named if node != GROUND)

    @property
    def carriers(self) -> tuple[str, ...]:
        """Elements that carry a flow: those between two nodes, and pressure sources."""
        return tuple(e.name for e in self.elements if isinstance(e, TwoEnded | PressureSource))

    @cached_property
    def names(self) -> tuple[str, ...]:
        """Pressures of the nodes, then the flows that are unknown."""
        flows = (f"flow of {element.name}" for element in self.elements if element.has_flow)
        return (*(f"pressure of {node}" for node in self.nodes), *flows)

    @property
    def units(self) -> tuple[str, ...]:
        """Units of the unknowns."""
        flows = len(self.names) - len(self.nodes)
        return ("MPa",) * len(self.nodes) + ("mm3/s",) * flows

    @cached_property
    def scales(self) -> Array:
        """The typical pressure, and its flow through the least resistance."""
        slopes = [e.law(np.inf)[1] for e in self.elements if isinstance(e, Conductor)]
        flow = self.pressure_scale * max(slopes) if slopes else 1.0
        return np.array([self.pressure_scale if unit == "MPa" else flow for unit in self.units])

    @cached_property
    def pressures(self) -> Array:
        """The sections have the pressure of the node of the lumen, if there is one."""
        matrix = np.zeros((self.sections, len(self.names)))
        for element, at in self._placed:
            if isinstance(element, LumenStore):
                matrix[:, at[0]] = 1
        return matrix

    def stored(self, y: Array, volumes: Array, t: float) -> Terms:
        """Volume at each node, and L q of each inertance."""
        terms, full = self._empty(self.sections), np.append(y, 0.0)
        for element, at in self._placed:
            element.add_stored(terms, full, t, at, volumes)
        return _without_ground(terms)

    def rate(self, y: Array, lumen: LumenState, t: float) -> Terms:
        """Flow into each node, and the differences of pressure that flows depend on."""
        terms, full = self._empty(3 * self.sections), np.append(y, 0.0)
        for element, at in self._placed:
            element.add_rate(terms, full, t, at)
        return _without_ground(terms)

    def pressure(self, node: str, y: Array) -> float:
        """Pressure of a node in MPa."""
        return 0.0 if node == GROUND else float(y[self.nodes.index(node)])

    def flow(self, name: str, y: Array, t: float) -> float:
        """Flow of an element from its start to its end, or of a source into its node, in mm³/s."""
        return self.flows(y, t)[name]

    def flows(self, y: Array, t: float) -> dict[str, float]:
        """Flow of each element by its name."""
        full = np.append(y, 0.0)
        return {element.name: float(element.flow(full, t, at)) for element, at in self._placed}

    def dissipation(self, y: Array, t: float) -> float:
        """Power lost in resistances and valves in mW."""
        full, flows = np.append(y, 0.0), self.flows(y, t)
        lossy = ((e, at) for e, at in self._placed if isinstance(e, Conductor))
        return float(sum(flows[e.name] * (full[at[0]] - full[at[1]]) for e, at in lossy))

    @cached_property
    def _placed(self) -> tuple[tuple[Element, tuple[int, ...]], ...]:
        """Each element with the places of its nodes and of its flow among the unknowns; ground comes last."""
        place = {node: i for i, node in enumerate(self.nodes)} | {GROUND: len(self.names)}
        own = iter(range(len(self.nodes), len(self.names)))
        return tuple(
            (e, (*(place[node] for node in e.nodes), *([next(own)] if e.has_flow else [])))
            for e in self.elements
        )

    def _empty(self, columns: int) -> Terms:
        n = len(self.names) + 1
        return Terms(np.zeros(n), np.zeros((n, n)), np.zeros((n, columns)))


def _without_ground(terms: Terms) -> Terms:
    return Terms(terms.value[:-1], terms.by_unknowns[:-1, :-1], terms.by_lumen[:-1])
