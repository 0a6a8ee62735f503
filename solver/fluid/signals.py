# SPDX-License-Identifier: MIT
"""Values that are constant or follow a time, and a smooth corner."""

from typing import Protocol

from annelid.geometry.checks import within


class Signal(Protocol):
    """A value over time."""

    def value(self, t: float) -> float:
        """Value at the time t in s."""


type Source = float | Signal


def at_time(source: Source, t: float) -> float:
    """Value of a constant or a signal."""
    return float(source) if isinstance(source, int | float) else source.value(t)


def finite(key: str, source: Source) -> None:
    """Raise InvalidValue if a constant is not finite."""
    if isinstance(source, int | float):
        within(key, source)


def ramp(x: float, width: float) -> tuple[float, float]:
    """The larger of 0 and x - width/2, its corner rounded by a parabola over 0 < x < width, and its slope."""
    if x <= 0:
        return 0.0, 0.0
    if x < width:
        return x**2 / (2 * width), x / width
    return x - width / 2, 1.0
