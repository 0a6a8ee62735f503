# SPDX-License-Identifier: MIT
"""Numbers for people: from the inside units to those of the trade, with four digits."""

import math
import re
from typing import NamedTuple

MMHG_PER_MPA = 7500.61683
_SPACE = "\N{NO-BREAK SPACE}"
_MINUS = "\N{MINUS SIGN}"
_RAISED = str.maketrans("-0123456789", "⁻⁰¹²³⁴⁵⁶⁷⁸⁹")
# Smaller values, in any of the units inside, are rounding of the solution.
_ROUNDING = 1e-9
_PER_CENT = ("contraction", "expansion", "shortening", "stroke")


class Display(NamedTuple):
    """How a quantity is shown: its value times ``factor``, in ``unit`` (empty: dimensionless)."""

    factor: float
    unit: str


def display(name: str, unit: str, magnitude: float) -> Display:
    """Choose the unit in which a quantity is shown.

    Args:
        name: Name of the quantity or load; fractions such as contractions are shown in per cent.
        unit: Unit inside.
        magnitude: Largest absolute value that is to be shown.

    Returns:
        Factor and unit of the display.
    """
    size = abs(magnitude) if math.isfinite(magnitude) else 1.0
    small = 0.0 < size < 0.1
    match unit:
        case "1":
            return Display(100.0, "%") if any(word in name for word in _PER_CENT) else Display(1.0, "")
        case "MPa" if "pressure" in name and size < 0.2:
            return Display(MMHG_PER_MPA, "mmHg")
        case "MPa":
            return Display(1e3, "kPa") if small else Display(1.0, "MPa")
        case "mm":
            return Display(1e3, "µm") if 0.0 < size < 0.5 else Display(1.0, "mm")
        case "mm3":
            return Display(1e-3, "mL") if size >= 100.0 else Display(1.0, "mm³")
        case "kV/mm":
            return Display(1.0, "V/µm")
        case "kV" | "N" | "uC" | "nF" | "mJ" if small:
            smaller = {"kV": "V", "N": "mN", "uC": "nC", "nF": "pF", "mJ": "µJ"}
            return Display(1e3, smaller[unit])
        case "uC":
            return Display(1.0, "µC")
        case _:
            return Display(1.0, unit)


def digits(value: float, count: int = 4) -> str:
    """Write a number with so many significant digits, without trailing zeros."""
    if math.isnan(value):
        return "–"
    if math.isinf(value):
        return "unlimited" if value > 0 else f"{_MINUS}unlimited"
    if value != 0.0 and not 1e-4 <= abs(value) < 1e6:
        mantissa, exponent = f"{value:.{count - 1}e}".split("e")
        power = str(int(exponent)).translate(_RAISED)
        return f"{mantissa.rstrip('0').rstrip('.')}·10{power}".replace("-", _MINUS)
    decimals = 0 if value == 0.0 else max(0, count - 1 - math.floor(math.log10(abs(value))))
    text = f"{value:.{decimals}f}"
    text = text.rstrip("0").rstrip(".") if "." in text else text
    return text.replace("-", _MINUS) if text != "-0" else "0"


def show(name: str, value: float, unit: str) -> str:
    """Write a value with its unit as people of the trade would: ``"120 mmHg"``, ``"12.5 %"``."""
    value = 0.0 if abs(value) < _ROUNDING else value
    shown = display(name, unit, value)
    return f"{digits(value * shown.factor)}{_SPACE}{shown.unit}".strip(_SPACE)


def show_text(name: str, text: object) -> str:
    """Rewrite a text such as ``"0.045 mm"`` from a resolved case as ``"45 µm"``; others stay."""
    match = re.fullmatch(r"\s*([-+0-9.eE]+)\s*([A-Za-zµ/^0-9]*)\s*", str(text))
    if match is None or isinstance(text, bool):
        return str(text)
    try:
        value = float(match[1])
    except ValueError:
        return str(text)
    return show(name, value, match[2]) if match[2] else digits(value, 6)


def inside_value(text: object) -> float:
    """Return the number of a text such as ``"0.045 mm"`` from a resolved case; ``nan`` for other things."""
    match = re.match(r"\s*([-+]?[0-9.]+(?:[eE][-+]?[0-9]+)?)", str(text))
    return float(match[1]) if match and not isinstance(text, bool) else math.nan


def counted(count: int, noun: str) -> str:
    """A number of things in words: ``1 run``, ``2 runs``."""
    return f"{count} {noun}{'' if count == 1 else 's'}"
