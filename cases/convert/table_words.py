# SPDX-License-Identifier: MIT
"""Tables of a case in words, with numbers in the units of display."""

from collections.abc import Mapping
from typing import Any, get_args

from annelid.cases.schema.base import Table
from annelid.cases.schema.stage import BOUNDS, LimitTable
from annelid.cases.schema.units import Unit, parse
from annelid.solver.display import DisplayUnits, capitalised, digits
from annelid.solver.model.quantities import quantity_of

__all__ = ["TableWords", "sentence", "spaced"]

_MANY = 6  # longer lists are described by their number of values


class TableWords:
    """Describes tables.

    Attributes:
        units: Units in which numbers are shown.

    Args:
        units: As above.
    """

    def __init__(self, units: DisplayUnits) -> None:
        self.units = units

    def pairs(self, table: Table, *left_out: str, neutral: tuple[float, ...] = ()) -> str:
        """Return the names and values of the entries of a table that are set.

        Args:
            table: The table.
            left_out: Keys that are left out.
            neutral: Values that mean nothing, which are left out, too.
        """
        pairs = []
        for key, field in type(table).model_fields.items():
            value = getattr(table, key)
            if (
                key in left_out
                or value is None
                or value is False
                or value in ("", (), {})
                or value in neutral
            ):
                continue
            name, unit = spaced(field.alias or key), _unit_in((field.annotation, *field.metadata))
            if isinstance(value, Mapping):
                pairs += [f"{name} {entry} {self._value(unit, target)}" for entry, target in value.items()]
            elif isinstance(value, Table):
                pairs.append(f"{name} ({self.pairs(value)})")
            else:
                pairs.append(name if value is True else f"{name} {self._value(unit, value)}")
        return ", ".join(pairs)

    def _value(self, unit: Unit | None, value: object) -> str:
        if isinstance(value, tuple):
            if len(value) > _MANY:
                return f"given at {len(value)} points"
            return ", ".join(self._value(unit, member) for member in value)
        if isinstance(value, float):
            if unit is None:
                return digits(value, 6)
            return self.units.show(unit.kind, value) if unit.kind else unit.shown(value)
        return str(value)

    def limits(self, table: LimitTable, between: str) -> str:
        """Return the bounds of a limit."""
        quantity = quantity_of(table.quantity)
        return between.join(
            f"{spaced(key)} {self.units.show(quantity.kind, parse(limit, quantity.unit))}"
            for key in BOUNDS
            if (limit := getattr(table, key)) is not None
        )


def _unit_in(annotation: Any) -> Unit | None:
    """Return the unit among the annotations of a field."""
    if isinstance(annotation, Unit):
        return annotation
    members = annotation if isinstance(annotation, tuple) else get_args(annotation)
    return next((unit for unit in map(_unit_in, members) if unit is not None), None)


def spaced(key: str) -> str:
    """Return a key as words."""
    return key.replace("_", " ")


def sentence(text: str) -> str:
    """Return a text with a capital letter and a full stop."""
    return capitalised(text) + "."
