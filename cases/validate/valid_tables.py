# SPDX-License-Identifier: MIT
"""The valid tables of an invalid case, so that their records are also checked."""

from contextlib import suppress
from functools import cache
from typing import Annotated, Any, NamedTuple, get_args, get_origin

from pydantic import TypeAdapter, ValidationError

from annelid.cases.schema.case import Case

__all__ = ["ValidTables", "valid_tables"]

_EMPTY: dict[Any, tuple[()] | dict[str, Any]] = {tuple: (), dict: {}}


class ValidTables(NamedTuple):
    """A case without its invalid tables and entries.

    Attributes:
        case: The case; required tables that are missing or invalid are ``None`` or empty.
        positions: Positions in the file of the valid entries of each list of tables.
        incomplete: Tables that are missing, invalid, or have invalid entries.
    """

    case: Case
    positions: dict[str, list[int]]
    incomplete: set[str]


def valid_tables(raw: dict[str, Any]) -> ValidTables:
    """Return the tables and entries of a case that are valid by themselves."""
    values: dict[str, Any] = {}
    positions: dict[str, list[int]] = {}
    incomplete = set()
    for name, field in Case.model_fields.items():
        if field.is_required():
            values[name] = _EMPTY.get(get_origin(field.annotation))
        if name not in raw:
            if field.is_required():
                incomplete.add(name)
            continue
        kind, given = get_origin(field.annotation), raw[name]
        if kind is tuple and isinstance(given, list):
            valid = _valid_entries(_adapter(name, 0), dict(enumerate(given)))
            values[name], positions[name] = tuple(valid.values()), list(valid)
        elif kind is dict and isinstance(given, dict):
            valid = values[name] = _valid_entries(_adapter(name, 1), given)
        else:
            valid = _valid_entries(_adapter(name), {name: given})
            values |= valid
            given = (name,)
        if len(valid) < len(given):
            incomplete.add(name)
    if "mesh" in incomplete:
        values["mesh"] = None  # its defaults would suit another model than the one that is meant
    return ValidTables(Case.model_construct(**values), positions, incomplete)


@cache
def _adapter(name: str, argument: int | None = None) -> TypeAdapter[Any]:
    """Validation of a table, or of an argument of its type, such as the entries of a list."""
    field = Case.model_fields[name]
    kind: Any = field.annotation
    if argument is not None:
        kind = get_args(kind)[argument]
    elif field.metadata:
        kind = Annotated[kind, *field.metadata]
    return TypeAdapter(kind)


def _valid_entries(adapter: TypeAdapter[Any], entries: dict[Any, Any]) -> dict[Any, Any]:
    valid = {}
    for key, entry in entries.items():
        with suppress(ValidationError):  # the validation of the whole case reports these errors
            valid[key] = adapter.validate_python(entry)
    return valid
