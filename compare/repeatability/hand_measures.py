# SPDX-License-Identifier: MIT
"""Measures taken by hand, such as diameters with callipers, as a second method beside the scans."""

import csv
import io
import re
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import NamedTuple

from annelid.compare.repeatability.scan_measures import MEASURE_UNITS
from annelid.compare.scans.units import UNITS
from annelid.geometry.errors import InputError
from annelid.geometry.text_files import read_text

_LARGEST = 1_000_000  # bytes
_HEADER = re.compile(r"\s*([^\[\]]+?)\s*\[\s*([^\[\]\s]+)\s*\]\s*")
_VOLUMES = {"mm³": 1.0, "mm3": 1.0, "cm³": 1e3, "cm3": 1e3, "mL": 1e3, "ml": 1e3}
_LENGTHS = {**UNITS, "um": UNITS["µm"]}


class HandMeasured(NamedTuple):
    """Measures of a part by hand.

    Attributes:
        part: Name of the part.
        measures: By name, mm or mm³.
    """

    part: str
    measures: Mapping[str, float]


def read_hand_measures(path: Path, parts: Sequence[str]) -> tuple[HandMeasured, ...]:
    """Read a CSV file with a column ``part`` and columns such as ``mean diameter [mm]``.

    Args:
        path: The file. Several rows of a part are repeats; cells may be empty.
        parts: Names of the parts that were scanned.

    Raises:
        InputError: The file cannot be read, or names a part, a measure or a unit that is unknown.
    """
    rows = csv.reader(io.StringIO(read_text(path, most=_LARGEST)), strict=True)
    try:
        header = next(rows, [])
        columns = [_column(name) for name in header]
        if [name for name, _ in columns].count("part") != 1 or len(columns) < 2:
            raise ValueError(
                "the first line must name a column part and measures, such as mean diameter [mm]"
            )
        names = [name for name, _ in columns]
        twice = next((name for name in names if names.count(name) > 1), None)
        if twice is not None:
            raise ValueError(f"{twice}: stands twice")
        found = [_row(cells, columns, parts) for cells in rows if any(map(str.strip, cells))]
    except (csv.Error, ValueError) as error:
        raise InputError(f"{path}, line {max(rows.line_num, 1)}: {error}", key="--by-hand") from None
    if not any(row.measures for row in found):
        raise InputError(f"{path}: has no values below the line of column names", key="--by-hand")
    return tuple(found)


def _column(text: str) -> tuple[str, float]:
    """Name of a column, and the mm or mm³ in its unit."""
    if text.strip() == "part":
        return "part", 1.0
    match = _HEADER.fullmatch(text)
    if match is None:
        raise ValueError(
            f"column '{text[:60]}' is neither part nor a measure with its unit, as in length [mm]"
        )
    name, unit = match.groups()
    if name not in MEASURE_UNITS:
        raise ValueError(f"'{name[:60]}' is not a measure of scans; these are {', '.join(MEASURE_UNITS)}")
    units = _VOLUMES if MEASURE_UNITS[name] == "mm³" else _LENGTHS
    if unit not in units:
        raise ValueError(f"{name}: '{unit[:20]}' is not one of the units {', '.join(units)}")
    return name, units[unit]


def _row(cells: Sequence[str], columns: Sequence[tuple[str, float]], parts: Sequence[str]) -> HandMeasured:
    if len(cells) != len(columns):
        raise ValueError(f"has {len(cells)} cells; the first line has {len(columns)}")
    given = {name: (cell.strip(), scale) for (name, scale), cell in zip(columns, cells, strict=True)}
    part = given.pop("part")[0]
    if part not in parts:
        raise ValueError(f"part: '{part[:60]}' is not a part of the list of scans")
    return HandMeasured(
        part, {name: scale * _number(name, cell) for name, (cell, scale) in given.items() if cell}
    )


def _number(name: str, cell: str) -> float:
    try:
        value = float(cell)
    except ValueError:
        value = float("nan")
    if not abs(value) < 1e9:
        raise ValueError(f"{name}: '{cell[:40]}' is not a number below 1e9")
    return value
