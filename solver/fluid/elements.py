# SPDX-License-Identifier: MIT
"""Bases of the elements of a circuit, which are records that check themselves.

Each adds its part to M and h of the circuit. The rows are balances of volume at the nodes, and one row for
each flow that is an unknown. Places of nodes and flows are given as ``at``; ground is the last entry of the
unknowns and has the pressure zero.
"""

from abc import abstractmethod
from dataclasses import dataclass

from annelid.geometry.errors import InvalidValue, checking
from annelid.solver.fluid.flow_system import Array, Terms

GROUND = "ground"


@dataclass(frozen=True)
class Element:
    """Base of the elements.

    Attributes:
        name: Different for each element of a circuit.
    """

    name: str

    kind = "element"
    has_flow = False  # whether its flow is an unknown of the circuit
    conducts = False  # whether it ties the pressures of its ends to each other
    refers = False  # whether it ties the pressure of its node to a given one, or to the wall

    def __post_init__(self) -> None:
        with checking(self.subject):
            self._check()

    @property
    def subject(self) -> str:
        """What errors call it."""
        return f"{self.kind} '{self.name}'"

    @property
    @abstractmethod
    def nodes(self) -> tuple[str, ...]:
        """Nodes that it is connected to."""

    def _check(self) -> None:
        """Raise InvalidValue if a value is not allowed."""

    def add_stored(self, into: Terms, y: Array, t: float, at: tuple[int, ...], volumes: Array) -> None:
        """Add to M; an element that stores nothing adds nothing."""

    def add_rate(self, into: Terms, y: Array, t: float, at: tuple[int, ...]) -> None:
        """Add to h; an element without flow adds nothing."""

    def flow(self, y: Array, t: float, at: tuple[int, ...]) -> float:
        """Flow from its start to its end, or into its node, in mm³/s."""
        return 0.0


@dataclass(frozen=True)
class TwoEnded(Element):
    """Base of the elements with a flow from ``start`` to ``end``."""

    start: str
    end: str

    @property
    def nodes(self) -> tuple[str, ...]:
        """Start and end."""
        return self.start, self.end

    def __post_init__(self) -> None:
        super().__post_init__()
        if self.start == self.end:
            raise InvalidValue(
                f"is '{self.end}', and so is the start: connect different nodes",
                key="end",
                subject=self.subject,
                value=self.end,
            )


@dataclass(frozen=True)
class AtNode(Element):
    """Base of the elements at one node."""

    node: str
    refers = True

    @property
    def nodes(self) -> tuple[str, ...]:
        """The node."""
        return (self.node,)

    def __post_init__(self) -> None:
        super().__post_init__()
        if self.node == GROUND:
            raise InvalidValue(
                "is ground, whose pressure is always zero: name another node",
                key="node",
                subject=self.subject,
                value=self.node,
            )
