# SPDX-License-Identifier: MIT
"""Numbers of the page about several scans, in the units of the run."""

import math

import numpy as np

from annelid.compare.repeatability.precision import StandardDeviation
from annelid.compare.repeatability.repeated import Repeatability
from annelid.solver.display import KINDS, DisplayUnit, digits

MAIN = ("mean deviation", "root mean square deviation", "mean diameter", "enclosed volume")
"""Measures of the figures."""


def unit_of(found: Repeatability, name: str) -> DisplayUnit:
    """Unit in which a measure is shown."""
    column = np.abs(found.values[:, found.names.index(name)])
    return unit_for(found, name, float(np.nanmax(column)) if np.isfinite(column).any() else 1.0)


def unit_for(found: Repeatability, name: str, size: float) -> DisplayUnit:
    """Unit in which a value of a measure is shown."""
    if found.unit(name) == "mm":
        return found.part.run.units.unit("length", size)
    return KINDS["volume" if found.unit(name) == "mm³" else "fraction"].default(size)


def shown(found: Repeatability, name: str, value: float, count: int = 3) -> str:
    """A value of a measure with its unit."""
    unit = unit_of(found, name)
    return unit.behind(digits(unit.factor * value, count)) if math.isfinite(value) else "not known"


def size_text(found: Repeatability, name: str, size: float) -> str:
    """A spread of a measure in the unit that suits its own size."""
    if not math.isfinite(size):
        return "not known"
    unit = unit_for(found, name, size)
    return unit.behind(digits(unit.factor * size, 3))


def spread_text(found: Repeatability, name: str, deviation: StandardDeviation) -> str:
    """A standard deviation with its interval: ``"0.12 mm (0.08 to 0.3)"``."""
    text = size_text(found, name, deviation.value)
    if not math.isfinite(deviation.high):
        return text
    factor = unit_for(found, name, deviation.value).factor
    low, high = (digits(factor * end, 2) for end in (deviation.low, deviation.high))
    return f"{text} ({low} to {high})"


def range_text(unit: DisplayUnit, ends: tuple[float, float]) -> str:
    """A range with its unit: ``"-0.1 to 0.2 mm"``."""
    low, high = (digits(unit.factor * end, 3) for end in ends)
    return f"{low} to {unit.behind(high)}"


def p_text(p: float) -> str:
    """A p-value: ``"p = 0.03"``."""
    return "p < 0.001" if p < 0.001 else f"p = {digits(p, 2)}"
