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
        incomplete: Tables that lack valid entries.

    Args:
        raw: The tables as read from the file.
        tables: What of them is valid by itself.
    """

    def __init__(self, raw: dict[str, Any], tables: ValidTables) -> None:
        self.messages: list[str] = []
        self.incomplete = tables.incomplete
        self._raw = raw
        self._positions = tables.positions

    def complete(self, *tables: str) -> bool:
        """Whether all entries of some tables are valid."""
        return self.incomplete.isdisjoint(tables)

    def add(self, keys: tuple[str | int, ...], error: InvalidValue) -> None:
        """Add an error; its table counts as incomplete from now on.

        Args:
            keys: Path of the table in which the error is; positions are those of the valid entries.
            error: The error, with the key in that table.
        """
        if len(keys) > 1 and isinstance(keys[1], int):
            keys = (keys[0], self._position(str(keys[0]), keys[1]), *keys[2:])
        keys = (*keys, *error.key.split(".")) if error.key else keys
        self.incomplete.add(str(keys[0]))
        written: Any = self._raw
        for key in keys:
            written = written[key] if _holds(written, key) else None
        text = f"{path_of(self._raw, *keys)}: {error.problem}"
        if isinstance(error.data.get("value"), float) and isinstance(written, str):
            text += "" if f"{error.data['value']:g}" in written else f" (written as '{written}')"
        self.messages.append(text)

    @contextmanager
    def catching(self, *keys: str | int) -> Iterator[None]:
        """Add an ``InvalidValue`` that is raised inside."""
        try:
            yield
        except InvalidValue as error:
            self.add(keys, error)

    def records[E, R](self, table: str, entries: Iterable[E], make: Callable[[E], R | None]) -> list[R]:
        """Records of the entries of a table; those that are invalid, or ``None``, are left out."""
        made, kept = [], []
        for index, entry in enumerate(entries):
            with self.catching(table, index):
                record = make(entry)
                if record is not None:
                    made.append(record)
                    kept.append(self._position(table, index))
        self._positions[table] = kept
        return made

    def check(self, findings: Iterable[Finding]) -> None:
        """Add findings."""
        for finding in findings:
            self.add(finding.keys, finding.error)

    def _position(self, table: str, index: int) -> int:
        return self._positions[table][index] if table in self._positions else index


def _holds(value: Any, key: str | int) -> bool:
    if isinstance(value, dict):
        return key in value
    return isinstance(value, list) and isinstance(key, int) and key < len(value)
