# SPDX-License-Identifier: MIT
"""A value with its error bar as text."""

import math

from annelid.solver.display import DisplayUnits, digits

__all__ = ["shown_bar"]


def shown_bar(kind: str, value: float, half: float, display: DisplayUnits) -> str:
    """Return a value with its bar as text: ``"1.677 ± 0.004"``, with as many digits as the bar allows."""
    if not math.isfinite(half):
        return display.show(kind, value)
    unit = display.unit(kind, value)
    number, width = value * unit.factor, half * unit.factor
    if width <= 0 or abs(number) < width:
        return unit.behind(f"{digits(number, 3)} ± {digits(width, 2)}")
    count = min(9, max(2, math.floor(math.log10(abs(number))) - math.floor(math.log10(width)) + 2))
    return unit.behind(f"{digits(number, count)} ± {digits(width, 2)}")
