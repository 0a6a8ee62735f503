# SPDX-License-Identifier: MIT
"""Units of case files: strings such as ``"45 um"`` become numbers in the internal units, and back."""

import math
import re
from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass
from functools import cache
from typing import Any

from pydantic import GetCoreSchemaHandler, GetJsonSchemaHandler
from pydantic_core import PydanticCustomError, core_schema

from annelid.solver.display import KINDS

__all__ = ["Unit", "UnitError", "parse", "quantity", "registry_quantity", "show", "units_read"]

_NUMBER_AND_UNIT = re.compile(r"\s*([+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?)\s*(.*?)\s*")
_POWER = re.compile(r"([A-Za-z])([23])\b")  # "mm3" is how volumes are written
_DIGITS = 12  # "180 um" and "0.18 mm" must give the same number, so that a case has one hash
_LARGEST = 1e12  # of any quantity in its internal unit: a slip of the keyboard
_units_read: ContextVar[dict[str, list[str]] | None] = ContextVar("units read", default=None)


@contextmanager
def units_read() -> Iterator[dict[str, list[str]]]:
    """Collect the units in which quantities of each kind are read inside, in order of appearance."""
    found: dict[str, list[str]] = {}
    token = _units_read.set(found)
    try:
        yield found
    finally:
        _units_read.reset(token)


def note_unit(value: object, kind: str) -> None:
    """Note the unit of a valid quantity for ``units_read``."""
    found = _units_read.get()
    match = _NUMBER_AND_UNIT.fullmatch(value) if isinstance(value, str) else None
    if found is None or match is None or not match.group(2) or KINDS[kind].unit == "1":
        return
    written = found.setdefault(kind, [])
    if match.group(2) not in written:
        written.append(match.group(2))


class UnitError(ValueError):
    """A text is not a number with a unit of the expected kind; the message states why."""


def parse(value: object, unit: str) -> float:
    """Read a quantity.

    Args:
        value: For instance ``"45 um"``; a bare number only where ``unit`` is dimensionless.
        unit: Unit of the result, ``""`` or ``"1"`` for a dimensionless number.

    Returns:
        The number in ``unit``.

    Raises:
        UnitError: No unit, an unknown unit, a unit of another kind, or no finite number.
    """
    dimensionless = unit in ("", "1")
    if isinstance(value, int | float) and not isinstance(value, bool):
        if not dimensionless:
            raise UnitError(f"{value:g} has no unit")
        return _finite(float(value), value)
    match = _NUMBER_AND_UNIT.fullmatch(value) if isinstance(value, str) else None
    if match is None:
        raise UnitError(f"{_quote(value)} is not a number{'' if dimensionless else ' with a unit'}")
    number, written = match.groups()
    if not written and not dimensionless:
        raise UnitError(f"{_quote(value)} has no unit")
    return _finite(float(number) * _factor(written, "" if dimensionless else unit, value), value)


def show(value: float, unit: str) -> str | float:
    """Write a quantity as ``parse`` reads it: ``"0.045 mm"``; a plain number where dimensionless."""
    number = float(f"{value:.{_DIGITS}g}")
    return number if unit in ("", "1") else f"{number:.{_DIGITS}g} {unit}"


def registry_quantity(number: float, unit: str) -> Any:
    """A quantity that arithmetic understands: sums of unlike units raise ``pint.DimensionalityError``."""
    return _registry().Quantity(number, _POWER.sub(r"\1^\2", unit))


@dataclass(frozen=True)
class Unit:
    """Marks a field of a case as a quantity: what it is, and in which unit it is kept.

    Attributes:
        unit: Internal unit, ``""`` for a number.
        about: In words, with article: ``"a length"``.
        example: As a user would write it.
        above: Allowed values are greater than this, in ``unit``.
        at_least: Allowed values are this or greater.
        kind: Key of ``display.KINDS``; "" for kinds that results do not report.
    """

    unit: str
    about: str
    example: str
    above: float | None = None
    at_least: float | None = None
    kind: str = ""

    def read(self, value: object) -> float:
        """Parse and check the range.

        Raises:
            PydanticCustomError: With the value, the reason and the allowed range.
        """
        try:
            number = parse(value, self.unit)
        except UnitError as error:
            hint = f"{error}; write {self.about}{self._range()}, for example {self._example()}"
            raise PydanticCustomError("unit", "{text}", {"text": hint}) from None
        if abs(number) > _LARGEST:
            raise PydanticCustomError("range", "{text}", {"text": f"{_quote(value)} is out of range"})
        too_small = self.above is not None and number <= self.above
        if too_small or (self.at_least is not None and number < self.at_least):
            text = f"{_quote(value)} is out of range; it must be {self.about}{self._range()}"
            raise PydanticCustomError("range", "{text}", {"text": text})
        if self.kind:
            note_unit(value, self.kind)
        return number

    def _range(self) -> str:
        """The allowed range in words, with a leading blank; empty if there is none."""
        limits = {"above": self.above, "at least": self.at_least}
        return "".join(f" {word} {show(at, self.unit)}" for word, at in limits.items() if at is not None)

    def _example(self) -> str:
        return self.example if self.unit == "" else f'"{self.example}"'

    def __get_pydantic_core_schema__(
        self, source: Any, handler: GetCoreSchemaHandler
    ) -> core_schema.CoreSchema:
        written = core_schema.plain_serializer_function_ser_schema(lambda value: show(value, self.unit))
        return core_schema.no_info_plain_validator_function(self.read, serialization=written)

    def __get_pydantic_json_schema__(
        self, schema: core_schema.CoreSchema, handler: GetJsonSchemaHandler
    ) -> dict[str, Any]:
        about = f"{self.about}{self._range()}"
        if self.unit == "":
            return {"type": ["number", "string"], "examples": [float(self.example)], "$comment": about}
        pattern = r"^\s*[+-]?[0-9.]+([eE][+-]?[0-9]+)?\s*[^0-9\s]"
        return {"type": "string", "examples": [self.example], "pattern": pattern, "$comment": about}


def quantity(kind: str, about: str, example: str) -> Unit:
    """Mark a field as a quantity of a kind that results report; its record checks the range."""
    unit = KINDS[kind].unit
    return Unit("" if unit == "1" else unit, about, example, kind=kind)


@cache
def _registry() -> Any:
    import pint  # a third of a second: only once a quantity is read

    return pint.UnitRegistry()


@cache
def _unit_factor(written: str, unit: str) -> float | str:
    """Factor from one unit to another, or why there is none (errors are not cached, texts are)."""
    import pint

    registry = _registry()
    written, unit = (_POWER.sub(r"\1^\2", text) for text in (written, unit))
    try:
        found = registry.Quantity(1.0, registry.parse_units(written))
    except pint.UndefinedUnitError:
        return f"has the unknown unit '{written}'"
    except Exception:  # pint lets tokenizer and arithmetic errors of many kinds through
        return f"has a unit that cannot be read: '{written}'"
    try:
        return float(found.to(unit).magnitude)
    except pint.DimensionalityError:
        return f"is in {found.units}, which cannot be converted to {unit or 'a plain number'}"


def _factor(written: str, unit: str, value: object) -> float:
    if written in ("", "%"):
        if unit == "":
            return 0.01 if written else 1.0
        raise UnitError(f"{_quote(value)} is a percentage, which cannot be converted to {unit}")
    factor = _unit_factor(written, unit)
    if isinstance(factor, str):
        raise UnitError(f"{_quote(value)} {factor}")
    return factor


def _finite(number: float, value: object) -> float:
    if not math.isfinite(number):
        raise UnitError(f"{_quote(value)} is not a finite number")
    return float(f"{number:.{_DIGITS}g}")


def _quote(value: object) -> str:
    return f"'{value}'" if isinstance(value, str) else repr(value)
