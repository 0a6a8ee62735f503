# SPDX-License-Identifier: MIT
"""Reading text files of limited size, and the columns of numbers in CSV files."""

import csv
import io
import math
import os
import stat
from collections.abc import Sequence
from contextlib import suppress
from pathlib import Path

import numpy as np

from annelid.geometry.body import FloatArray
from annelid.geometry.errors import InputError

_LARGEST_TABLE = 50_000_000  # bytes; a scan of a million points


def read_text(path: Path | str, *, most: int) -> str:
    """Return the content of a UTF-8 text file.

    Args:
        path: A regular file.
        most: Largest allowed size, bytes.

    Raises:
        InputError: There is no such file, it is no regular file, too large, not text, or cannot be read.
    """
    try:
        found = os.stat(path)
        if not stat.S_ISREG(found.st_mode):  # a pipe or a device may never end
            raise InputError(f"{path}: is not a regular file", key=str(path))
        if found.st_size > most:
            size = f"{found.st_size / 1e6:.0f} MB; at most {most / 1e6:g} MB are read"
            raise InputError(f"{path}: is too large: {size}", key=str(path), value=found.st_size)
        return Path(path).read_text(encoding="utf-8-sig")
    except OSError as error:
        raise InputError(f"{path}: cannot be read ({error.strerror})", key=str(path)) from None
    except (UnicodeDecodeError, ValueError):  # a path with a null character is a ValueError
        raise InputError(f"{path}: is not a UTF-8 text file", key=str(path)) from None


def read_columns(path: Path | str, columns: Sequence[str]) -> FloatArray:
    """Return columns of a CSV file whose first line has their names, shape (rows, columns).

    Raises:
        InputError: The file cannot be read, lacks a column or rows, or has something that is not a number.
    """
    rows = csv.DictReader(io.StringIO(read_text(path, most=_LARGEST_TABLE)), restval="")
    values: list[list[float]] = []
    try:
        missing = [name for name in columns if name not in (rows.fieldnames or ())]
        if missing:
            text = f"missing: {', '.join(missing)}; expected the columns {', '.join(columns)}"
            raise InputError(f"{path}: {text}", key=str(path))
        for row in rows:
            values.append([_number(row, name) for name in columns])
    except (csv.Error, ValueError) as error:
        raise InputError(
            f"{path}, line {rows.line_num}: {error}", key=str(path), line=rows.line_num
        ) from None
    if not values:
        raise InputError(f"{path}: has no rows below the line of column names", key=str(path))
    return np.array(values)


def _number(row: dict[str, str], name: str) -> float:
    with suppress(ValueError):
        value = float(row[name])
        if math.isfinite(value):
            return value
    raise ValueError(f"{name}: '{row[name][:40]}' is not a number")
