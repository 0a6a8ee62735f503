# SPDX-License-Identifier: MIT
"""Types of command-line arguments: each reads a text and raises ``ArgumentTypeError`` if it is not valid."""

import os
from argparse import ArgumentTypeError
from collections.abc import Callable
from pathlib import Path

__all__ = [
    "element_size_factor",
    "output_file",
    "output_folder",
    "quantity",
    "state_number",
    "stretch",
    "whole_number",
]


def whole_number(text: str) -> int:
    """A whole number of 1 or more."""
    if not text.isdigit() or int(text) < 1:
        raise ArgumentTypeError(f'"{text}" is not a whole number of 1 or more')
    return int(text)


def stretch(text: str) -> float:
    """A stretch above 0 and below 10, other than 1."""
    value = _number(text)
    if not 0 < value < 10 or value == 1:
        raise ArgumentTypeError(f'"{text}" is not a stretch above 0 and below 10, other than 1')
    return value


def element_size_factor(text: str) -> float:
    """A number from 1 to 100."""
    value = _number(text)
    if not 1 <= value <= 100:
        raise ArgumentTypeError(f'"{text}" is not a number from 1 to 100')
    return value


def quantity(unit: str, about: str, example: str, *, above: float | None = None) -> Callable[[str], float]:
    """Type of a quantity with its unit; the arguments are those of ``Unit``."""

    def read(text: str) -> float:
        from pydantic_core import PydanticCustomError

        from annelid.cases.schema.units import Unit

        try:
            return Unit(unit, about, example, above=above).read(text)
        except PydanticCustomError as error:
            raise ArgumentTypeError(error.message()) from None

    return read


def state_number(text: str) -> int | None:
    """The number of a state, negative from the end; None for the last."""
    if text == "last":
        return None
    try:
        return int(text)
    except ValueError:
        raise ArgumentTypeError(f'"{text}" is neither the number of a state nor "last"') from None


def output_file(text: str) -> Path:
    """A file in a folder that exists and can be written to."""
    path = Path(text)
    _check_writable(path.parent)
    return path


def output_folder(text: str) -> Path:
    """A folder that can be written to, or that can be created."""
    path = Path(text)
    _check_writable(next(folder for folder in (path, *path.parents) if folder.exists()))
    return path


def _check_writable(folder: Path) -> None:
    if not folder.exists():
        raise ArgumentTypeError(f'the folder "{folder}" does not exist; create it first')
    if not folder.is_dir():
        raise ArgumentTypeError(f'"{folder}" is not a folder; choose another')
    if not os.access(folder, os.W_OK | os.X_OK):
        raise ArgumentTypeError(f'the folder "{folder}" cannot be written to; choose another')


def _number(text: str) -> float:
    """The number that a text states; 0, which no type allows, if it states none."""
    try:
        return float(text)
    except ValueError:
        return 0.0
