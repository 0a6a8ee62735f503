# SPDX-License-Identifier: MIT
"""Base classes of the errors of the project; each carries data, and its message gives a remedy."""

from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from typing import Any, NamedTuple


class AnnelidError(Exception):
    """Base of the errors that the project raises deliberately.

    Attributes:
        message: What is wrong and what to do.
        data: Values that the message mentions, by name.
    """

    def __init__(self, message: str, **data: Any) -> None:
        super().__init__(message)
        self.message = message
        self.data = data

    def __reduce__(self) -> tuple[Any, ...]:
        return _rebuild, (type(self), self.message, self.data)


def _rebuild(kind: type[AnnelidError], message: str, data: dict[str, Any]) -> AnnelidError:
    """Make an error again in another process."""
    return kind(message, **data)


class InputError(AnnelidError):
    """The input is not valid; the message names the key, the value and what is allowed."""


class InvalidValue(InputError):
    """A record refuses one of its values.

    Attributes:
        problem: What is wrong, without the key.
        key: Key of the value in the record's table of a case file, dotted where tables are nested; "" for the
            table as a whole.
        subject: Which record, for instance ``"stage 'fill'"``; "" if unknown.
    """

    def __init__(self, problem: str, *, key: str = "", subject: str = "", **data: Any) -> None:
        super().__init__(": ".join(filter(None, (subject, key, problem))), **data)
        self.problem, self.key, self.subject = problem, key, subject

    def __reduce__(self) -> tuple[Any, ...]:
        return _rebuild_value, (self.problem, self.key, self.subject, self.data)

    def about(self, subject: str) -> "InvalidValue":
        """The same error with the subject put in front of any that it has."""
        return InvalidValue(
            self.problem,
            key=self.key,
            subject=": ".join(filter(None, (subject, self.subject))),
            **self.data,
        )

    def within(self, key: str) -> "InvalidValue":
        """The same error with its key inside another."""
        return InvalidValue(
            self.problem, key=".".join(filter(None, (key, self.key))), subject=self.subject, **self.data
        )


def _rebuild_value(problem: str, key: str, subject: str, data: dict[str, Any]) -> InvalidValue:
    return InvalidValue(problem, key=key, subject=subject, **data)


class Finding(NamedTuple):
    """An error that a check of several records found.

    Attributes:
        keys: Tables and positions of the entry in a case file, for instance ``("stages", 2)``.
        error: What is wrong, with the key inside the entry.
    """

    keys: tuple[str | int, ...]
    error: InvalidValue


def raise_first(findings: Iterable[Finding]) -> None:
    """Raise the error of the first finding, if there is one."""
    for finding in findings:
        raise finding.error


@contextmanager
def checking(subject: str) -> Iterator[None]:
    """Name the subject of every ``InvalidValue`` raised inside."""
    try:
        yield
    except InvalidValue as error:
        raise error.about(subject) from None
