# SPDX-License-Identifier: MIT
"""Units of case files: conversion of texts such as ``"45 um"`` into numbers in internal units, and back."""

import math
import re
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass
from typing import Any

from pydantic import GetCoreSchemaHandler, GetJsonSchemaHandler
from pydantic_core import PydanticCustomError, core_schema

from annelid.cases.schema.unit_factors import quoted, unit_factor
from annelid.solver.display import KINDS, digits

__all__ = [
    "Unit",
    "UnitError",
    "UnitsRead",
    "as_read",
    "note_unit",
    "parse",
    "quantity",
    "show",
    "units_read",
]

_NUMBER_AND_UNIT = re.compile(r"\s*([+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?)\s*(.*?)\s*")
_DIGITS = 12  # "180 um" and "0.18 mm" must give the same number and so the same hash
_LARGEST = 1e12  # of any quantity in its internal unit; larger values are typing errors
_SMALLEST = 1e-30  # of any quantity other than zero; the square of a smaller length may be zero


class UnitsRead:
    """The units of the quantities of each kind that were read, with the number of their uses."""

    def __init__(self) -> None:
        self._uses: dict[str, Counter[str]] = {}
        self._in_limits: dict[str, Counter[str]] = {}

    def note(self, kind: str, unit: str, *, in_limit: bool) -> None:
        """Count one use of a unit, in a limit on a reported quantity or elsewhere."""
        for uses in (self._uses, self._in_limits)[: 1 + in_limit]:
            uses.setdefault(kind, Counter())[unit] += 1

    def chosen(self) -> dict[str, tuple[str, ...]]:
        """For each kind the unit of its limits, else the one used most, of equally used ones the first."""
        return {kind: (uses.most_common(1)[0][0],) for kind, uses in (self._uses | self._in_limits).items()}


_units_read: ContextVar[UnitsRead | None] = ContextVar("units read", default=None)


@contextmanager
def units_read() -> Iterator[UnitsRead]:
    """Collect the units of the quantities that are read inside."""
    units = UnitsRead()
    token = _units_read.set(units)
    try:
        yield units
    finally:
        _units_read.reset(token)


def note_unit(value: object, kind: str, *, in_limit: bool = False) -> None:
    """Record the unit of a valid quantity for ``units_read``."""
    units = _units_read.get()
    match = _NUMBER_AND_UNIT.fullmatch(value) if isinstance(value, str) else None
    if units is not None and match is not None and match.group(2) and KINDS[kind].unit != "1":
        units.note(kind, match.group(2), in_limit=in_limit)


class UnitError(ValueError):
    """A text is not a number with a unit of the expected kind; the message states why."""


def parse(value: object, unit: str) -> float:
    """Read a quantity.

    Args:
        value: For instance ``"45 um"``; a number without a unit only if ``unit`` is dimensionless.
        unit: Unit of the result, ``""`` or ``"1"`` for a dimensionless number.

    Returns:
        The number in ``unit``.

    Raises:
        UnitError: The unit is missing, unknown or of another kind, or the number is not finite.
    """
    dimensionless = unit in ("", "1")
    if isinstance(value, int | float) and not isinstance(value, bool):
        if not dimensionless:
            raise UnitError(f"{value:g} has no unit")
        return _finite(float(value), value)
    match = _NUMBER_AND_UNIT.fullmatch(value) if isinstance(value, str) else None
    if match is None:
        raise UnitError(f"{quoted(value)} is not a number{'' if dimensionless else ' with a unit'}")
    number, written = match.groups()
    if not written and not dimensionless:
        raise UnitError(f"{quoted(value)} has no unit")
    return _finite(float(number) * _factor(written, "" if dimensionless else unit, value), value)


def show(value: float, unit: str) -> str | float:
    """Write a quantity as ``parse`` reads it: ``"0.045 mm"``, or a plain number if it is dimensionless."""
    number = as_read(value)
    return number if unit in ("", "1") else f"{number:.{_DIGITS}g} {unit}"


def as_read(value: float) -> float:
    """Round a computed value of a case as it would be if it were written to the file and read again."""
    return float(f"{value:.{_DIGITS}g}")


@dataclass(frozen=True)
class Unit:
    """Annotation of a field of a case that contains a quantity.

    Attributes:
        unit: Internal unit, ``""`` for a number.
        about: Kind of quantity with its article: ``"a length"``.
        example: Example as in a case file.
        above: Lower limit in ``unit`` that is not allowed itself.
        at_least: Lower limit in ``unit`` that is allowed.
        kind: Key of ``display.KINDS``; "" for kinds that are not reported.
    """

    unit: str
    about: str
    example: str
    above: float | None = None
    at_least: float | None = None
    kind: str = ""

    def shown(self, number: float) -> str:
        """Return a number in ``unit`` as text in the unit of the example."""
        written = self.example.partition(" ")[2]
        factor = parse(f"1 {written}", self.unit) if written else 1.0
        return f"{digits(number / factor, 6)} {written}".strip()

    def read(self, value: object) -> float:
        """Read a value and check its range.

        Raises:
            PydanticCustomError: The value is not valid; the error states the reason and the allowed range.
        """
        try:
            number = parse(value, self.unit)
        except UnitError as error:
            hint = f"{error}; write {self.about}{self._range()}, for example {self._example()}"
            raise PydanticCustomError("unit", "{text}", {"text": hint}) from None
        if number and not _SMALLEST <= abs(number) <= _LARGEST:
            limits = f"at least {show(_SMALLEST, self.unit)} and at most {show(_LARGEST, self.unit)}"
            text = f"{quoted(value)} is out of range; its size must be {limits}"
            raise PydanticCustomError("range", "{text}", {"text": text})
        too_small = self.above is not None and number <= self.above
        if too_small or (self.at_least is not None and number < self.at_least):
            text = f"{quoted(value)} is out of range; it must be {self.about}{self._range()}"
            raise PydanticCustomError("range", "{text}", {"text": text})
        if self.kind:
            note_unit(value, self.kind)
        return number

    def _range(self) -> str:
        """Describe the allowed range, with a leading blank; empty if there is none."""
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


def quantity(kind: str, about: str, example: str, *, above: float | None = None) -> Unit:
    """Return the annotation of a quantity of a reported kind; without a bound its record checks the range."""
    unit = KINDS[kind].unit
    return Unit("" if unit == "1" else unit, about, example, above=above, kind=kind)


def _factor(written: str, unit: str, value: object) -> float:
    if written in ("", "%"):
        if unit == "":
            return 0.01 if written else 1.0
        raise UnitError(f"{quoted(value)} is a percentage, which cannot be converted to {unit}")
    factor = unit_factor(written, unit)
    if isinstance(factor, str):
        raise UnitError(f"{quoted(value)} {factor}")
    return factor


def _finite(number: float, value: object) -> float:
    if not math.isfinite(number):
        raise UnitError(f"{quoted(value)} is not a finite number")
    return as_read(number)
