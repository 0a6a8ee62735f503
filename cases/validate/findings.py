# SPDX-License-Identifier: MIT
"""Collecting the errors of a case, each with the path of its key in the file."""

from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from typing import Any

from annelid.cases.validate.messages import path_of
from annelid.cases.validate.valid_tables import ValidTables
from annelid.geometry.errors import Finding, InvalidValue

__all__ = ["Findings"]


class Findings:
    """Errors of the records of a case.

    Attributes:
        messages: One sentence for each error.
        incomplete: Tables with missing or invalid entries.

    Args:
        raw: The tables as read from the file.
        tables: The tables and entries that are valid by themselves.
    """

    def __init__(self, raw: dict[str, Any], tables: ValidTables) -> None:
        self.messages: list[str] = []
        self.incomplete = tables.incomplete
        self._raw = raw
        self._positions = tables.positions

    def complete(self, *tables: str) -> bool:
        """Whether all entries of the given tables are valid."""
        return self.incomplete.isdisjoint(tables)

    def add(self, keys: tuple[str | int, ...], error: InvalidValue) -> None:
        """Add an error and mark its table as incomplete.

        Args:
            keys: Path of the table with the error; positions count the valid entries.
            error: The error with its key in that table.
        """
        if len(keys) > 1 and isinstance(keys[1], int):
            keys = (keys[0], self._position(str(keys[0]), keys[1]), *keys[2:])
        keys = (*keys, *error.key.split(".")) if error.key else keys
        self.incomplete.add(str(keys[0]))
        written: Any = self._raw
        for key in keys:
            written = written[key] if _contains(written, key) else None
        text = f"{path_of(self._raw, *keys)}: {error.problem}"
        if isinstance(error.data.get("value"), float) and isinstance(written, str):
            text += "" if f"{error.data['value']:g}" in written else f" (written as '{written}')"
        if text not in self.messages:  # a record may be built twice
            self.messages.append(text)

    @contextmanager
    def catching(self, *keys: str | int) -> Iterator[None]:
        """Add an ``InvalidValue`` that is raised inside the block."""
        try:
            yield
        except InvalidValue as error:
            self.add(keys, error)

    def records[E, R](self, table: str, entries: Iterable[E], build: Callable[[E], R | None]) -> list[R]:
        """Build records of the entries of a table; invalid ones and those that are ``None`` are left out."""
        records, positions = [], []
        for index, entry in enumerate(entries):
            with self.catching(table, index):
                record = build(entry)
                if record is not None:
                    records.append(record)
                    positions.append(self._position(table, index))
        self._positions[table] = positions
        return records

    def named(self, table: str, key: str = "name") -> tuple[str, ...]:
        """Names in a table of the file, including those of invalid entries."""
        entries = self._raw.get(table, [])
        if not isinstance(entries, list):
            return ()
        return tuple(str(entry[key]) for entry in entries if isinstance(entry, dict) and key in entry)

    def check(self, findings: Iterable[Finding]) -> None:
        """Add the errors of some findings."""
        for finding in findings:
            self.add(finding.keys, finding.error)

    def _position(self, table: str, index: int) -> int:
        return self._positions[table][index] if table in self._positions else index


def _contains(value: Any, key: str | int) -> bool:
    if isinstance(value, dict):
        return key in value
    return isinstance(value, list) and isinstance(key, int) and key < len(value)
