# SPDX-License-Identifier: MIT
"""Values of a study as a case file writes them (numbers, quantities, texts) and their internal units."""

import re
from typing import Any

from annelid.cases.schema.unit_factors import registry_quantity
from annelid.cases.schema.units import UnitError, parse, show

__all__ = ["Value", "format_value", "internal_unit", "to_internal", "to_quantity"]

Value = str | int | float | bool

# Those of the kinds of numbers that are shown. In this order: an angle would pass as a plain number, being
# dimensionless.
_UNITS = (
    *("mm", "MPa", "kV", "N", "mm3", "kV/mm", "MPa/mm", "s", "uC", "nF", "mJ"),
    *("mm2", "mm/s", "mm3/s", "mm/s2", "t/mm3", "uA"),
    *("MPa s", "1/s", "MPa s/mm3", "MPa s2/mm3", "mm3/MPa", "MPa/mm3", "Gohm", "1/Gohm/mm", "1"),
)
_ANGLE = re.compile(r"\s*[-+0-9.eE]+\s*(deg|degrees?|rad|radians?)\s*")


def internal_unit(value: Value) -> str | None:
    """Internal unit of a value: ``"mm"`` for ``"45 um"``, ``"1"`` for a number, ``None`` for a text."""
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


def to_internal(value: Value) -> float | None:
    """Number of a value in its internal unit; ``None`` for a text."""
    unit = internal_unit(value)
    return None if unit is None else parse(value, unit)


def to_quantity(value: Value) -> Any:
    """A number or a quantity with unit for arithmetic; ``None`` for a text."""
    if isinstance(value, int | float) and not isinstance(value, bool):
        return value
    unit = internal_unit(value)
    if unit is None:
        return None
    number = parse(value, unit)
    return number if unit == "1" else registry_quantity(number, unit)


def format_value(result: Any) -> Value:
    """The result of arithmetic as a case file writes it."""
    if isinstance(result, int) and not isinstance(result, bool):
        return result
    if not hasattr(result, "to"):
        return show(_real(result), "1")
    if result.dimensionless and str(result.units) not in ("degree", "radian"):
        return show(_real(result.to("dimensionless").magnitude), "1")
    return show(_real(result.magnitude), f"{result.units:~D}")


def _real(value: Any) -> float:
    if isinstance(value, complex):
        raise ValueError("the root of a negative number")
    return float(value)
