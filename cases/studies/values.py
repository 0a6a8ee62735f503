# SPDX-License-Identifier: MIT
"""Values of a study: numbers, words, or quantities as a case file writes them, and their units inside."""

import re
from typing import Any

from annelid.cases.schema.units import UnitError, parse, registry_quantity, show

__all__ = ["Value", "inside", "quantity", "unit_of", "written"]

Value = str | int | float | bool

# In this order: an angle would pass as a plain number, being dimensionless.
_UNITS = ("mm", "MPa", "kV", "N", "mm3", "kV/mm", "MPa/mm", "s", "uC", "nF", "mJ", "1")
_ANGLE = re.compile(r"\s*[-+0-9.eE]+\s*(deg|degrees?|rad|radians?)\s*")


def unit_of(value: Value) -> str | None:
    """The unit inside of a value: ``"mm"`` for ``"45 um"``, ``"1"`` for a number, ``None`` for a word."""
    if isinstance(value, bool):
        return None
    if isinstance(value, str) and _ANGLE.fullmatch(value):
        return "deg"
    for unit in _UNITS:
        try:
            parse(value, unit)
        except UnitError:
            continue
        return unit
    return None


def inside(value: Value) -> float | None:
    """Number of a value in its unit inside; ``None`` for a word."""
    unit = unit_of(value)
    return None if unit is None else parse(value, unit)


def quantity(value: Value) -> Any:
    """A number or a quantity that arithmetic understands; ``None`` for a word."""
    if isinstance(value, int | float) and not isinstance(value, bool):
        return value
    unit = unit_of(value)
    if unit is None:
        return None
    number = parse(value, unit)
    return number if unit == "1" else registry_quantity(number, unit)


def written(value: Any) -> Value:
    """A result of arithmetic as a case file writes it."""
    if isinstance(value, int) and not isinstance(value, bool):
        return value
    if not hasattr(value, "to"):
        return show(_real(value), "1")
    if value.dimensionless and str(value.units) not in ("degree", "radian"):
        return show(_real(value.to("dimensionless").magnitude), "1")
    return show(_real(value.magnitude), f"{value.units:~D}")


def _real(value: Any) -> float:
    if isinstance(value, complex):
        raise ValueError("the root of a negative number")
    return float(value)
