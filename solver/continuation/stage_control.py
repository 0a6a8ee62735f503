# SPDX-License-Identifier: MIT
"""What the control of a stage asks: a condition, the loads that uphold it, and its values along the way."""

from dataclasses import replace

from annelid.solver.assembly.system import System
from annelid.solver.continuation.conditions import (
    ArcCondition,
    ChargeCondition,
    Condition,
    VolumeCondition,
    opening_condition,
    point_condition,
)
from annelid.solver.continuation.control import Multiplier, pressure_multiplier, voltage_multiplier
from annelid.solver.model.loads import Loads
from annelid.solver.model.motion import Motion
from annelid.solver.model.stages import Stage


class StageControl:
    """The control of one stage that starts at the present state.

    Attributes:
        condition: ``None`` under load control.
        start: Value of the condition at s = 0.
        wanted: Its change per unit of s.
    """

    def __init__(self, system: System, stage: Stage, motion: Motion, size: float) -> None:
        self._system = system
        self._stage = stage
        self._motion = motion
        self._size = size
        self.condition, end = self._condition_and_end()
        held = self.condition is not None and stage.arc is None
        self.start = self.condition.value() if self.condition is not None and held else 0.0
        self.wanted = end - self.start

    def _condition_and_end(self) -> tuple[Condition | None, float]:
        system, stage, size = self._system, self._stage, self._size
        if stage.volume is not None:
            return VolumeCondition(system), stage.volume
        if stage.charges:
            end = sum(stage.charges.values())
            return ChargeCondition(system, tuple(stage.charges), abs(end)), end
        if stage.point is not None:
            condition = point_condition(system, stage.point.position, stage.point.component, size)
            return condition, stage.point.motion
        if stage.opening is not None:
            name, end = stage.opening
            height = next(s.height for s in system.problem.model.sections if s.name == name)
            return opening_condition(system, height, size), end
        return (None if stage.arc is None else ArcCondition(system, size)), 0.0

    @property
    def first_multiplier(self) -> float:
        """The multiplier at s = 0."""
        if self._stage.control == "volume":
            return self._motion.start.pressure
        if self._stage.control == "charge":
            return self._motion.start.voltages.get(next(iter(self._stage.charges)), 0.0)
        return 0.0

    def multiplier(self, s: float) -> Multiplier:
        """The loads that the control finds, the others being those of s."""
        if self._stage.control == "volume":
            return pressure_multiplier(self._motion.at(s))
        if self._stage.control == "charge":
            return voltage_multiplier(self._motion.at(s), tuple(self._stage.charges))
        return Multiplier(self._motion.at, self._motion.rate)

    def target(self, s: float, mark: float) -> float:
        """Value of the condition at s; that of an arc is measured from the mark."""
        return abs(s - mark) if self._stage.control == "arc" else self.start + self.wanted * s

    def others_rate(self) -> Loads | None:
        """Rate of the loads that move along with a volume or charge stage, ``None`` if none does."""
        if self._stage.control not in ("volume", "charge"):
            return None
        rate = self._motion.rate
        if self._stage.control == "volume":
            rate = replace(rate, pressure=0.0)
        return None if rate.is_still else rate
