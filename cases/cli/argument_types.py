# SPDX-License-Identifier: MIT
"""Types of command-line arguments: each reads a text and raises ``ArgumentTypeError`` if it is not valid."""

from argparse import ArgumentTypeError
from collections.abc import Callable

__all__ = ["element_size_factor", "positive_quantity", "stretch", "whole_number"]


def whole_number(text: str) -> int:
    """A whole number of 1 or more."""
    if not text.isdigit() or int(text) < 1:
        raise ArgumentTypeError(f'"{text}" is not a whole number of 1 or more')
    return int(text)


def stretch(text: str) -> float:
    """A stretch between 0 and 10 other than 1."""
    value = _number(text)
    if not 0 < value < 10 or value == 1:
        raise ArgumentTypeError(f'"{text}" is not a stretch between 0 and 10 other than 1')
    return value


def element_size_factor(text: str) -> float:
    """A number from 1 to 100."""
    value = _number(text)
    if not 1 <= value <= 100:
        raise ArgumentTypeError(f'"{text}" is not a number from 1 to 100')
    return value


def positive_quantity(unit: str) -> Callable[[str], float]:
    """Type of a quantity above zero that is converted to ``unit``."""

    def read(text: str) -> float:
        from annelid.cases.schema.units import UnitError, parse

        try:
            value = parse(text, unit)
        except UnitError as error:
            raise ArgumentTypeError(str(error)) from None
        if value <= 0:
            raise ArgumentTypeError(f'"{text}" must be above zero')
        return value

    return read


def _number(text: str) -> float:
    """The number that a text states; 0, which no type allows, if it states none."""
    try:
        return float(text)
    except ValueError:
        return 0.0
