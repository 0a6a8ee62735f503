# SPDX-License-Identifier: MIT
"""Sources of pressure and of flow."""

from dataclasses import dataclass

from annelid.solver.fluid.elements import AtNode, TwoEnded
from annelid.solver.fluid.flow_system import Array, Terms
from annelid.solver.fluid.signals import Source, at_time, finite


@dataclass(frozen=True)
class FlowSource(TwoEnded):
    """A given flow from ``start`` to ``end``.

    Attributes:
        rate: Flow in mm³/s, constant or over time.
    """

    rate: Source
    kind = "flow source"

    def _check(self) -> None:
        finite("rate", self.rate)

    def add_rate(self, into: Terms, y: Array, t: float, at: tuple[int, ...]) -> None:
        """The flow leaves the start and reaches the end."""
        into.value[at[0]] -= self.flow(y, t, at)
        into.value[at[1]] += self.flow(y, t, at)

    def flow(self, y: Array, t: float, at: tuple[int, ...]) -> float:
        """Flow from start to end in mm³/s."""
        return at_time(self.rate, t)


@dataclass(frozen=True)
class PressureSource(AtNode):
    """A reservoir that keeps its node at a pressure.

    Attributes:
        pressure: In MPa, constant or over time.
    """

    pressure: Source
    kind = "pressure source"
    has_flow = True

    def _check(self) -> None:
        finite("pressure", self.pressure)

    def add_rate(self, into: Terms, y: Array, t: float, at: tuple[int, ...]) -> None:
        """The flow into the node is what keeps it at the pressure."""
        i, own = at
        into.value[i] += y[own]
        into.by_unknowns[i, own] += 1
        into.value[own] += y[i] - at_time(self.pressure, t)
        into.by_unknowns[own, i] += 1

    def flow(self, y: Array, t: float, at: tuple[int, ...]) -> float:
        """Flow into the node in mm³/s."""
        return float(y[at[1]])
