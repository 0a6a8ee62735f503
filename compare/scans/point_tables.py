# SPDX-License-Identifier: MIT
"""Tables of points: one point in a line, columns separated by blanks, tabs, commas or semicolons."""

import io
import re
import warnings
from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from annelid.compare.scans.file_content import INTENSITIES, FileContent, Unreadable
from annelid.compare.scans.units import unit_scale
from annelid.geometry.errors import InvalidValue

_WITHOUT_NAMES = {  # columns of a table whose first line has no names
    3: ("x", "y", "z"),
    4: ("x", "y", "z", "intensity"),
    6: ("x", "y", "z", "nx", "ny", "nz"),
    7: ("x", "y", "z", "nx", "ny", "nz", "intensity"),
}
_KNOWN = {*_WITHOUT_NAMES[7], *INTENSITIES}
_LONGEST_LINE = 10_000  # characters
_NAMED = re.compile(r"""["']? ?([a-z]+) ?(?:[_\[(] ?([a-zµμ]+) ?[\])]?)? ?["']?""")


def read_table(content: bytes, *, unit: str) -> FileContent:
    """Read a table of points; lines that begin with ``#`` are comments.

    The first line may name the columns: x, y, z, and if known nx, ny, nz and intensity, in any order and
    among others; a unit in a name, as in ``x_mm`` or ``x [mm]``, must be the given one. Without names the
    columns are x, y, z, then normals, then the intensity.

    Raises:
        Unreadable: It is no table of numbers, or its columns are not known.
        InvalidValue: A name states another unit.
    """
    try:
        text = content.decode("utf-8-sig").replace("\r\n", "\n").replace("\r", "\n")
    except UnicodeDecodeError:
        raise Unreadable("it is not a text file") from None
    rows = ((number, line.strip()) for number, line in enumerate(io.StringIO(text)))
    skip, first = next(((k, row) for k, row in rows if row and not row.startswith("#")), (0, ""))
    if not first:
        raise Unreadable("it has no points")
    if len(first) > _LONGEST_LINE:
        raise Unreadable(f"its first line has {len(first)} characters, as no table of points has")
    separator = next((mark for mark in ";," if mark in first), None)
    if separator == ";":
        text, first = text.replace(",", "."), first.replace(",", ".")  # decimal commas
    names = _names(first.split(separator), unit)
    known = [column for column, name in enumerate(names) if name in _KNOWN]
    table = _numbers(text, separator, skip=skip + 1 if names else 0, columns=known or None)
    columns = [names[column] for column in known] or _WITHOUT_NAMES.get(table.shape[1], ())
    if not table.size:
        raise Unreadable("it has no points")
    if not columns:
        raise Unreadable(f"its {table.shape[1]} columns are not known; name them in the first line")
    return _content(dict(zip(columns, table.T, strict=True)), named=bool(names))


def _names(fields: Sequence[str], unit: str) -> tuple[str, ...]:
    """The names of the columns; none if the first line has numbers."""
    try:
        [float(field) for field in fields]
    except ValueError:
        pass
    else:
        return ()
    names = []
    for field in fields:
        match = _NAMED.fullmatch(" ".join(field.lower().split()))
        name, stated = match.groups() if match else (field, None)
        if stated and name in ("x", "y", "z") and unit_scale(stated) != unit_scale(unit):
            problem = f"column {name} is in {stated}, but the unit given is {unit}"
            raise InvalidValue(problem, key="unit", value=unit)
        names.append(name)
    missing = [name for name in ("x", "y", "z") if names.count(name) != 1]
    if missing:
        raise Unreadable(f"its first line names no column {missing[0]}, or several, and is not numbers")
    return tuple(names)


def _numbers(text: str, separator: str | None, *, skip: int, columns: list[int] | None) -> NDArray[Any]:
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", UserWarning)  # of an empty table
            return np.loadtxt(io.StringIO(text), delimiter=separator, skiprows=skip, usecols=columns, ndmin=2)
    except ValueError as error:
        text = re.sub(
            r"could not convert string (.*) to float64.*(column \d+)", r"\1 in \2 is not a number", str(error)
        )
        raise Unreadable(text.partition("; use")[0].strip(" .")) from None


def _content(columns: dict[str, NDArray[Any]], *, named: bool) -> FileContent:
    def together(*names: str) -> NDArray[Any] | None:
        found = [columns[name] for name in names if name in columns]
        return np.column_stack(found) if len(found) == len(names) else None

    points, normals = together("x", "y", "z"), together("nx", "ny", "nz")
    assert points is not None
    if normals is not None and not named:
        with np.errstate(all="ignore"):
            unit_length = np.abs(np.linalg.norm(normals, axis=1) - 1.0) < 0.05
        if not unit_length.all():
            raise Unreadable("columns 4 to 6 are not unit normals; name the columns in the first line")
    light = [columns[name] for name in INTENSITIES if name in columns]
    return FileContent(points, normals, light[0] if light else None)
