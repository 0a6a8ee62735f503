# SPDX-License-Identifier: MIT
"""Reading TOML files into tables whose size and nesting are limited."""

import tomllib
from pathlib import Path
from typing import Any

from annelid.cases.validate.messages import path_of
from annelid.geometry.errors import InputError
from annelid.geometry.text_files import read_text

__all__ = ["LARGEST", "check_tables", "read_toml", "tables_of"]

LARGEST = 20_000_000
"""Size of a file, bytes; that of a resolved case with a scan."""
_DEEPEST = 20
_LARGEST_INTEGER = 10**15


def read_toml(path: Path) -> dict[str, Any]:
    """Return the tables of a TOML file.

    Raises:
        InputError: The file cannot be read, is not valid TOML, or exceeds a limit.
    """
    return tables_of(read_text(path, most=LARGEST), str(path))


def tables_of(text: str, source: str) -> dict[str, Any]:
    """Return the tables of a TOML text.

    Args:
        text: The text.
        source: Name of its file, for messages.

    Raises:
        InputError: The text is not valid TOML, or exceeds a limit.
    """
    try:
        tables = tomllib.loads(text)
    except RecursionError:
        raise InputError(f"{source}: is nested deeper than {_DEEPEST} levels", key=source) from None
    except tomllib.TOMLDecodeError as error:
        raise InputError(f"{source}: is not valid TOML: {error}", key=source) from None
    except ValueError:
        raise InputError(f"{source}: has an integer of more than 4300 digits", key=source) from None
    check_tables(tables, source)
    return tables


def check_tables(tables: dict[str, Any], source: str) -> None:
    """Check the nesting of tables and the size of their integers.

    Raises:
        InputError: A limit is exceeded.
    """
    waiting: list[tuple[Any, tuple[str | int, ...]]] = [(tables, ())]
    while waiting:
        value, keys = waiting.pop()
        if len(keys) > _DEEPEST:
            raise InputError(
                f"{source}: {keys[0]}: is nested deeper than {_DEEPEST} levels", key=str(keys[0])
            )
        if isinstance(value, dict):
            waiting += [(inner, (*keys, str(key))) for key, inner in value.items()]
        elif isinstance(value, list | tuple):
            waiting += [(inner, (*keys, number)) for number, inner in enumerate(value)]
        elif isinstance(value, int) and abs(value) > _LARGEST_INTEGER:
            where = path_of(tables, *keys)
            text = f"is out of range: integers are at most {_LARGEST_INTEGER:.0e}"
            raise InputError(f"{source}: {where}: {text}", key=where)
