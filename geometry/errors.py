# SPDX-License-Identifier: MIT
"""The error family of the project: each carries its data and says what to do."""

from typing import Any


class AnnelidError(Exception):
    """Base of every error the project raises on purpose.

    Attributes:
        data: What the message speaks of, by name; survives pickling across processes.
    """

    def __init__(self, message: str, **data: Any) -> None:
        super().__init__(message)
        self.message = message
        self.data = data

    def __reduce__(self) -> tuple[Any, ...]:
        return _rebuild, (type(self), self.message, self.data)


def _rebuild(kind: type[AnnelidError], message: str, data: dict[str, Any]) -> AnnelidError:
    return kind(message, **data)


class InputError(AnnelidError):
    """What the user wrote cannot be meant: names the key, the value and the allowed range."""
