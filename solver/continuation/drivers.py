# SPDX-License-Identifier: MIT
"""What drives a stage: the condition of its control, the loads that meet it, and its values along the way."""

from abc import ABC, abstractmethod
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
from annelid.solver.continuation.control import LoadParameter
from annelid.solver.model.loads import Loads
from annelid.solver.model.ramp import Ramp
from annelid.solver.model.stages import Stage


class StageDriver(ABC):
    """The driver of one stage that starts at the present state.

    Attributes:
        condition: ``None`` under load control.
        start: Value of the condition at s = 0.
        change: Its change per unit of s.
    """

    scales_loads = False

    def __init__(self, system: System, stage: Stage, ramp: Ramp, size: float) -> None:
        self.system = system
        self.stage = stage
        self.ramp = ramp
        self.rate = ramp.rate_at(0.0)  # constant: only under load control are there waves
        self.size = size
        self.condition: Condition | None = self._condition()
        self.start, self.change = self._values()

    @abstractmethod
    def _condition(self) -> Condition | None:
        """The condition."""

    @abstractmethod
    def _values(self) -> tuple[float, float]:
        """Value of the condition at s = 0, and its change per unit of s."""

    @property
    def first_multiplier(self) -> float:
        """The multiplier at s = 0."""
        return 0.0

    def parameter(self, s: float) -> LoadParameter:
        """The loads that the control finds; the others are those of s."""
        return LoadParameter(self.ramp.at, self.rate)

    def target(self, s: float, last: float) -> float:
        """Value of the condition at s, from the last accepted position on."""
        return self.start + self.change * s

    def others_rate(self) -> Loads | None:
        """Rate of the loads that change with the stage beside those found, ``None`` if none does."""
        return None


class LoadDriver(StageDriver):
    """Load control: the loads are given."""

    def _condition(self) -> None:
        return None

    def _values(self) -> tuple[float, float]:
        return 0.0, 0.0


class VolumeDriver(StageDriver):
    """The enclosed volume is given, the pressure is found."""

    def _condition(self) -> Condition:
        return VolumeCondition(self.system)

    def _values(self) -> tuple[float, float]:
        assert self.condition is not None
        assert self.stage.volume is not None
        start = self.condition.value()
        return start, self.stage.volume - start

    @property
    def first_multiplier(self) -> float:
        """The present pressure."""
        return self.ramp.start.pressure

    def parameter(self, s: float) -> LoadParameter:
        """The pressure."""
        others = self.ramp.at(s)
        return LoadParameter(lambda λ: replace(others, pressure=λ), Loads(pressure=1.0, natural=0.0))

    def others_rate(self) -> Loads | None:
        """Rate of all loads but the pressure."""
        rate = replace(self.rate, pressure=0.0)
        return None if rate.is_zero else rate


class ChargeDriver(StageDriver):
    """The charge on electrodes that share a voltage is given, the voltage is found."""

    def _condition(self) -> Condition:
        return ChargeCondition(self.system, tuple(self.stage.charges), abs(self._end))

    @property
    def _end(self) -> float:
        return sum(self.stage.charges.values())

    def _values(self) -> tuple[float, float]:
        assert self.condition is not None
        start = self.condition.value()
        return start, self._end - start

    @property
    def first_multiplier(self) -> float:
        """The present voltage."""
        return self.ramp.start.voltages.get(next(iter(self.stage.charges)), 0.0)

    def parameter(self, s: float) -> LoadParameter:
        """The voltage of the electrodes named."""
        others, names = self.ramp.at(s), tuple(self.stage.charges)

        def loads_at(λ: float) -> Loads:
            return replace(others, voltages={**others.voltages, **dict.fromkeys(names, λ)})

        return LoadParameter(loads_at, Loads(voltages=dict.fromkeys(names, 1.0), natural=0.0))

    def others_rate(self) -> Loads | None:
        """Rate of the loads that are given."""
        return None if self.rate.is_zero else self.rate


class PointDriver(StageDriver):
    """The motion of a point is given, the loads of the stage are scaled to it."""

    scales_loads = True

    def _condition(self) -> Condition:
        assert self.stage.point is not None
        return point_condition(self.system, self.stage.point, self.size)

    def _values(self) -> tuple[float, float]:
        assert self.condition is not None
        assert self.stage.point is not None
        start = self.condition.value()
        return start, self.stage.point.motion - start


class OpeningDriver(StageDriver):
    """The mean inner radius at a section is given, the loads of the stage are scaled to it."""

    scales_loads = True

    def _condition(self) -> Condition:
        assert self.stage.opening is not None
        sections = self.system.problem.model.sections
        height = next(s.height for s in sections if s.name == self.stage.opening[0])
        return opening_condition(self.system, height, self.size)

    def _values(self) -> tuple[float, float]:
        assert self.condition is not None
        assert self.stage.opening is not None
        start = self.condition.value()
        return start, self.stage.opening[1] - start


class ArcDriver(StageDriver):
    """The length of path is given, the loads of the stage change in proportion."""

    scales_loads = True

    def _condition(self) -> Condition:
        return ArcCondition(self.system, self.size)

    def _values(self) -> tuple[float, float]:
        return 0.0, 0.0

    def target(self, s: float, last: float) -> float:
        """Distance from the last accepted state."""
        return abs(s - last)


STAGE_DRIVERS: dict[str, type[StageDriver]] = {
    "load": LoadDriver,
    "flow": LoadDriver,
    "volume": VolumeDriver,
    "charge": ChargeDriver,
    "displacement": PointDriver,
    "opening": OpeningDriver,
    "arc": ArcDriver,
}
"""By control, as in ``model/stages.py``."""
