# SPDX-License-Identifier: MIT
"""Base classes of the errors of the project; each carries data, and its message gives a remedy."""

from typing import Any


class AnnelidError(Exception):
    """Base of the errors that the project raises deliberately.

    Attributes:
        message: The message.
        data: The values in the message by name; they are kept when the error is pickled.
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
    """Invalid input of the user; the message names the key, the value and the allowed range."""
