# SPDX-License-Identifier: MIT
"""Values that are constant or follow a time, and a smooth corner."""

from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise
from typing import TYPE_CHECKING, Protocol

import numpy as np

from annelid.geometry.checks import within
from annelid.geometry.errors import InvalidValue
from annelid.solver.fluid.flow_system import Array

if TYPE_CHECKING:
    from scipy.interpolate import PchipInterpolator


class Signal(Protocol):
    """A value over time."""

    def value(self, t: float) -> float:
        """Value at the time t in s."""


type Source = float | Signal


@dataclass(frozen=True)
class Repeating:
    """A value given at some times, which repeats after the last one; smooth and without overshoot between.

    Attributes:
        times: From 0 on, ascending, in s.
        values: Values at these times; the last one equals the first.

    Raises:
        InvalidValue: Times do not ascend from 0, or the value jumps where it repeats.
    """

    times: tuple[float, ...]
    values: tuple[float, ...]

    def __post_init__(self) -> None:
        if len(self.times) < 3 or len(self.times) != len(self.values):
            text = f"has {len(self.values)} entries for {len(self.times)} times: give as many, and at least 3"
            raise InvalidValue(text, key="values")
        if self.times[0] != 0 or not all(a < b for a, b in pairwise(self.times)):
            raise InvalidValue("must increase, from 0 s", key="times")
        for value in self.values:
            within("values", value)
        if self.values[0] != self.values[-1]:
            text = f"must end as it begins, because it repeats: {self.values[0]:g} and {self.values[-1]:g}"
            raise InvalidValue(text, key="values")

    def value(self, t: float) -> float:
        """Value at the time t in s."""
        return float(self._curve(t % self.times[-1]))

    @cached_property
    def _curve(self) -> "PchipInterpolator":
        from scipy.interpolate import PchipInterpolator  # start-up that other cases need not pay

        times, values, period = np.array(self.times), np.array(self.values), self.times[-1]
        before, after = times[:-1] - period, times[1:] + period
        return PchipInterpolator(
            np.concatenate([before, times, after]), np.concatenate([values[:-1], values, values[1:]])
        )


def at_time(source: Source, t: float) -> float:
    """Value of a constant or a signal."""
    return float(source) if isinstance(source, int | float) else source.value(t)


def finite(key: str, source: Source) -> None:
    """Raise InvalidValue if a constant is not finite."""
    if isinstance(source, int | float):
        within(key, source)


def ramp[T: (float, Array)](x: T, width: float) -> tuple[T, T]:
    """The larger of 0 and x - width/2, its corner rounded by a parabola over 0 < x < width, and its slope."""
    rounded = np.minimum(np.maximum(x, 0.0), width)
    return rounded**2 / (2 * width) + np.maximum(x - width, 0.0), rounded / width
