# SPDX-License-Identifier: MIT
"""Viscous flow along the lumen by lubrication theory, as a flow system.

The volume of each section changes by the flow through the stations at its ends::

    dV_i/dt = q_i - q_(i+1),    q = π r⁴/(8 η) G,    G = -dp/dz

The flow is relative to the wall. Unknowns are the pressures of the sections, and those of a circuit.
The radius at a station is the mean of both sections. Its distance from the axis, or from a cylinder on the
axis, counts as at least the residual gap. What the cylinder drags along where the wall moves along it is
neglected, and so is the part of the shear that it carries.
"""

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from annelid.geometry.checks import whole_number, within
from annelid.geometry.errors import InvalidValue
from annelid.solver.fluid.circuit import Circuit
from annelid.solver.fluid.flow_system import Array, LumenState, Terms
from annelid.solver.fluid.fluid import Fluid
from annelid.solver.fluid.signals import Source, at_time, finite, ramp
from annelid.solver.fluid.stores import LumenStore


@dataclass(frozen=True)
class Reservoir:
    """An end of the lumen at a pressure in MPa, constant or over time."""

    pressure: Source = 0.0

    def __post_init__(self) -> None:
        finite("pressure", self.pressure)


@dataclass(frozen=True)
class Closed:
    """An end of the lumen without flow."""


@dataclass(frozen=True)
class OpenTo:
    """An end of the lumen at a node of the circuit, which has to be among its openings."""

    node: str


type End = Reservoir | Closed | OpenTo


@dataclass(frozen=True)
class Lubrication:
    """Viscous flow along the lumen.

    Attributes:
        sections: Their number k.
        fluid: The fluid.
        lower: End before the first section.
        upper: End behind the last section.
        gap: Smallest distance of the wall from the axis or a cylinder on it for the flow, in mm; distances
            below 1.5 gap are rounded to it.
        circuit: Circuit at the ends that are open to its nodes.
        pressure_scale: Typical pressure in MPa.

    Raises:
        InvalidValue: A value is not positive, or an end is open to what is not there.
    """

    sections: int
    fluid: Fluid
    lower: End
    upper: End
    gap: float
    circuit: Circuit | None = None
    pressure_scale: float = 1e-3

    def __post_init__(self) -> None:
        whole_number("sections", self.sections, least=1)
        within("gap", self.gap, above=0, unit="mm")
        within("pressure_scale", self.pressure_scale, above=0, unit="MPa")
        openings = self.circuit.openings if self.circuit else ()
        for key, end in (("lower", self.lower), ("upper", self.upper)):
            if isinstance(end, OpenTo) and end.node not in openings:
                listed = ", ".join(openings) or "there are none"
                text = f"'{end.node}' is not an opening of the circuit; openings: {listed}"
                raise InvalidValue(text, key=key, value=end.node)
        if self.circuit and any(isinstance(element, LumenStore) for element in self.circuit.elements):
            text = "has an element of kind 'lumen', but the fluid describes this lumen: leave the element out"
            raise InvalidValue(text, key="circuit")

    @cached_property
    def names(self) -> tuple[str, ...]:
        """Pressures of the sections, then the unknowns of the circuit."""
        sections = tuple(f"pressure of section {i}" for i in range(1, self.sections + 1))
        return sections + (self.circuit.names if self.circuit else ())

    @property
    def units(self) -> tuple[str, ...]:
        """Units of the unknowns."""
        return ("MPa",) * self.sections + (self.circuit.units if self.circuit else ())

    @cached_property
    def scales(self) -> Array:
        """The typical pressure, and the scales of the circuit."""
        own = np.full(self.sections, self.pressure_scale)
        return np.concatenate([own, self.circuit.scales]) if self.circuit else own

    @cached_property
    def pressures(self) -> Array:
        """Each section has its own pressure."""
        return np.eye(self.sections, len(self.names))

    def stored(self, y: Array, volumes: Array, t: float) -> Terms:
        """The volumes, and what the circuit stores."""
        n, k = len(self.names), self.sections
        terms = Terms(np.zeros(n), np.zeros((n, n)), np.eye(n, k))
        terms.value[:k] = volumes
        if self.circuit:
            inner = self.circuit.stored(y[k:], volumes, t)
            terms.value[k:], terms.by_unknowns[k:, k:] = inner.value, inner.by_unknowns
        return terms

    def rate(self, y: Array, lumen: LumenState, t: float) -> Terms:
        """Balance of the flows of each section, and those of the circuit with the flow at its openings."""
        k = self.sections
        flows = self._flows(y, lumen, t)
        terms = Terms(*(np.zeros((len(self.names), *flow.shape[1:])) for flow in flows))
        if self.circuit:
            inner = self.circuit.rate(y[k:], lumen, t)
            terms.value[k:], terms.by_unknowns[k:, k:] = inner.value, inner.by_unknowns
        for into, flow in zip(terms, flows, strict=True):
            into[:k] = flow[:-1] - flow[1:]
            for end, outflow in ((self.lower, -flow[0]), (self.upper, flow[-1])):
                if isinstance(end, OpenTo):
                    into[self._place(end)] += outflow
        return terms

    def flows(self, y: Array, lumen: LumenState, t: float) -> Array:
        """Flow through each station from the lower to the upper end in mm³/s, shape (k + 1,)."""
        return self._flows(y, lumen, t).value

    def dissipation(self, y: Array, lumen: LumenState, t: float) -> float:
        """Power lost by viscosity along the lumen in mW."""
        return float(self.flows(y, lumen, t) @ (self._differences @ y + self._given(t)))

    def end_powers(self, y: Array, lumen: LumenState, t: float) -> tuple[float, float]:
        """Power that the fluid takes out of the lumen through the lower and the upper end in mW."""
        q = self.flows(y, lumen, t)
        return -q[0] * self.end_pressure(self.lower, y, t), q[-1] * self.end_pressure(self.upper, y, t)

    def end_pressure(self, end: End, y: Array, t: float) -> float:
        """Pressure behind an end in MPa; 0 behind a closed one, through which nothing flows."""
        if isinstance(end, OpenTo):
            return float(y[self._place(end)])
        return at_time(end.pressure, t) if isinstance(end, Reservoir) else 0.0

    def _flows(self, y: Array, lumen: LumenState, t: float) -> Terms:
        """Flows through the stations with their derivatives by the unknowns, the radii and the lengths."""
        distances = self._halves @ lumen.lengths
        gradients = (self._differences @ y + self._given(t)) / distances
        free = self._at_stations @ lumen.radii - lumen.core
        opened, slope = ramp(free - self.gap / 2, self.gap)
        flow = self.fluid.flow(lumen.core + self.gap + opened, gradients, lumen.core)
        q, by_gradient, by_radius = np.array(flow) * self._open
        by_radii = (by_radius * slope)[:, None] * self._at_stations
        by_lengths = -(by_gradient * gradients / distances)[:, None] * self._halves
        by_volumes = np.zeros((len(q), self.sections))
        by_lumen = np.hstack([by_volumes, by_radii, by_lengths])
        return Terms(q, (by_gradient / distances)[:, None] * self._differences, by_lumen)

    def _place(self, end: OpenTo) -> int:
        """Place of the node of an end among the unknowns."""
        assert self.circuit
        return self.sections + self.circuit.nodes.index(end.node)

    @cached_property
    def _open(self) -> Array:
        """Zero at a closed end, else one."""
        closed = [isinstance(end, Closed) for end in (self.lower, self.upper)]
        return 1.0 - np.array([closed[0], *[False] * (self.sections - 1), closed[1]])

    @cached_property
    def _halves(self) -> Array:
        """Matrix from the lengths to the distances between the points of pressure beside each station."""
        return (np.eye(self.sections + 1, self.sections) + np.eye(self.sections + 1, self.sections, -1)) / 2

    @cached_property
    def _at_stations(self) -> Array:
        """Matrix from the radii of the sections to those at the stations."""
        means = self._halves.copy()
        means[0, 0] = means[-1, -1] = 1.0
        return means

    @cached_property
    def _differences(self) -> Array:
        """Matrix from the unknowns to the drops of pressure across the stations, without the reservoirs."""
        k = self.sections
        differences = np.eye(k + 1, len(self.names), -1) * (np.arange(len(self.names)) < k)
        differences[:k, :k] -= np.eye(k)
        for end, station, sign in ((self.lower, 0, 1), (self.upper, k, -1)):
            if isinstance(end, OpenTo):
                differences[station, self._place(end)] = sign
        return differences

    def _given(self, t: float) -> Array:
        """Part of the differences of pressure that the reservoirs give."""
        given = np.zeros(self.sections + 1)
        for end, station, sign in ((self.lower, 0, 1), (self.upper, -1, -1)):
            if isinstance(end, Reservoir):
                given[station] = sign * at_time(end.pressure, t)
        return given
