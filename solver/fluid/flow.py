# SPDX-License-Identifier: MIT
"""What answers to the lumen and to the electrodes of a part: a fluid or a circuit, and feeds."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from functools import cached_property

import numpy as np

from annelid.geometry.checks import nearest
from annelid.geometry.errors import InvalidValue
from annelid.solver.fluid.charging import Charging
from annelid.solver.fluid.circuit import Circuit
from annelid.solver.fluid.flow_system import Array
from annelid.solver.fluid.joined import Joined
from annelid.solver.fluid.lubrication import Lubrication
from annelid.solver.fluid.signals import Source
from annelid.solver.fluid.stores import LumenStore


@dataclass(frozen=True)
class Flow:
    """Flow systems that a part is connected to.

    Attributes:
        lumen: A circuit with the lumen as an element, or viscous flow along the lumen; ``None`` if its
            pressure is given.
        charging: Feeds of electrodes; ``None`` if all voltages are given.
        initial: Unknowns at the start by name, where they are not zero; the pressure of the lumen and the
            voltages of the electrodes start as the part has them.

    Raises:
        InvalidValue: There is nothing, a circuit without the lumen, or an unknown name.
    """

    lumen: Circuit | Lubrication | None = None
    charging: Charging | None = None
    initial: Mapping[str, float] = field(default_factory=dict)

    def __post_init__(self) -> None:
        if self.lumen is None and self.charging is None:
            raise InvalidValue("needs a circuit, a fluid or feeds, got none", key="flow")
        if isinstance(self.lumen, Circuit) and not any(
            isinstance(e, LumenStore) for e in self.lumen.elements
        ):
            raise InvalidValue("has no lumen among its elements: add one", key="circuit")
        for name in self.initial:
            if name not in self.system.names:
                known = f"{nearest(name, self.system.names)}; unknowns: {', '.join(self.system.names)}"
                raise InvalidValue(f"'{name}' is no unknown of the flow{known}", key="initial", value=name)

    @cached_property
    def system(self) -> Joined:
        """All flow systems as one, that of the lumen first."""
        return Joined(tuple(system for system in (self.lumen, self.charging) if system is not None))

    @property
    def sections(self) -> int:
        """Sections of the lumen with pressures of their own; 0 if there is one pressure or none."""
        return self.lumen.sections if isinstance(self.lumen, Lubrication) else 0

    @property
    def fed(self) -> tuple[str, ...]:
        """Electrodes that are fed."""
        return () if self.charging is None else tuple(feed.name for feed in self.charging.feeds)

    def with_sources(self, source_of: Callable[[str], Source]) -> "Flow":
        """The same with sources for the feeds whose voltage stages give, by electrode."""
        if self.charging is None:
            return self
        feeds = tuple(
            replace(feed, source=source_of(feed.name)) if feed.source is None else feed
            for feed in self.charging.feeds
        )
        return replace(self, charging=replace(self.charging, feeds=feeds))

    @property
    def circuit(self) -> Circuit | None:
        """The circuit, of the lumen or at the ends of a flow along it."""
        return self.lumen.circuit if isinstance(self.lumen, Lubrication) else self.lumen

    def start(self, present: Array) -> Array:
        """Unknowns at the start.

        Args:
            present: Pressures of the lumen and voltages of the electrodes fed, shape (k,).
        """
        y = np.linalg.pinv(self.system.pressures) @ present
        for name, value in self.initial.items():
            y[self.system.names.index(name)] = value
        return y
