# SPDX-License-Identifier: MIT
"""Factors between units, from a library, and kept on disk because the library takes a second to start.

Units of different kinds are kept, too: a study tries the units of a value in turn.
"""

import json
import math
import re
from contextlib import suppress
from functools import cache
from importlib.metadata import version
from pathlib import Path
from typing import Any

from annelid.geometry.cache_place import cache_place
from annelid.geometry.writing import replacing

_POWER = re.compile(r"([A-Za-z])([23])\b")  # volumes are written as "mm3"
_LONGEST_UNIT = 40  # characters
_BAD_POWER = re.compile(r"(\*\*|\^)\s*([^\s\d+-]|[+-]?\d[\d.]|[+-]?\d\s*(\*\*|\^))")  # but one of one digit
_LONGEST_QUOTE = 120  # characters of a value in a message
_MOST = 2000  # factors that are kept
_OF_ANOTHER_KIND = "is in "  # begins the only reason that is kept


def unit_factor(written: str, unit: str) -> float | str:
    """Return the factor between two units, or the reason if there is none.

    Args:
        written: A unit as a user writes it.
        unit: The unit of the result, ``""`` for a plain number.
    """
    if len(written) > _LONGEST_UNIT or _BAD_POWER.search(written):  # such powers can take pint for ever
        return f"has a unit that cannot be read: {quoted(written)}"
    known, pair = _known(), f"{written} in {unit}"
    if pair not in known:
        found = _found(written, unit)
        if isinstance(found, str) and not found.startswith(_OF_ANOTHER_KIND):
            return found
        known[pair] = found
        if len(known) <= _MOST:
            _keep(known)
    return known[pair]


def registry_quantity(number: float, unit: str) -> Any:
    """Return a quantity for arithmetic; sums of different kinds raise ``pint.DimensionalityError``."""
    return _registry().Quantity(number, _POWER.sub(r"\1^\2", unit))


def quoted(value: object) -> str:
    """A value in a message, shortened if it is long."""
    text = f"'{value}'" if isinstance(value, str) else repr(value)
    return text if len(text) <= _LONGEST_QUOTE else f"{text[: _LONGEST_QUOTE // 2]}...{text[-9:]}"


@cache
def _registry() -> Any:
    import pint

    return pint.UnitRegistry()


@cache
def _found(written: str, unit: str) -> float | str:
    import pint

    registry = _registry()
    written, unit = (_POWER.sub(r"\1^\2", text) for text in (written, unit))
    try:
        quantity_read = registry.Quantity(1.0, registry.parse_units(written))
    except pint.UndefinedUnitError:
        return f"has the unknown unit '{written}'"
    except Exception:  # pint passes on various tokenizer and arithmetic errors
        return f"has a unit that cannot be read: '{written}'"
    try:
        return float(quantity_read.to(unit).magnitude)
    except pint.DimensionalityError:
        kind = f"{quantity_read.units}, which cannot be converted to {unit or 'a plain number'}"
        return _OF_ANOTHER_KIND + kind


def _file() -> Path:
    return cache_place() / f"unit_factors-{version('pint')}.json"


@cache
def _known() -> dict[str, float | str]:
    """Factors and reasons found by this process or an earlier one; a damaged file is like none."""
    try:
        read = json.loads(_file().read_text(encoding="utf-8"))
        sound = all(map(_is_sound, read.values()))
    except (OSError, ValueError, AttributeError):
        return {}
    return read if sound else {}


def _is_sound(found: object) -> bool:
    if isinstance(found, str):
        return found.startswith(_OF_ANOTHER_KIND)
    return isinstance(found, float) and 0.0 < found < math.inf


def _keep(known: dict[str, float | str]) -> None:
    with suppress(OSError):  # a cache that cannot be written
        file = _file()
        file.parent.mkdir(parents=True, exist_ok=True)
        with replacing(file) as part:
            part.write_text(json.dumps(known), encoding="utf-8")
