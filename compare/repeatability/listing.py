# SPDX-License-Identifier: MIT
"""The list of scans: which part each shows, who scanned it, and with what."""

import csv
import io
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from annelid.compare.scans.units import unit_scale
from annelid.geometry.body import IntArray
from annelid.geometry.errors import InputError
from annelid.geometry.text_files import read_text

_REQUIRED, _OPTIONAL = ("scan", "part"), ("operator", "repeat", "method", "unit", "points", "note")
_LARGEST = 1_000_000  # bytes
_MOST = 1000


@dataclass(frozen=True)
class ListedScan:
    """A row of the list.

    Attributes:
        scan: A file of a scan, or the folder of a comparison.
        part: Name of the part.
        operator: Who scanned it, or what else changes between reproducibility conditions; "" if not listed.
        repeat: Name of the repeat; "" if not listed.
        method: Name of the method of measurement; "" if not listed.
        unit: Unit of the lengths in the scan; "" for a folder.
        points: File with named points of this scan.
    """

    scan: Path
    part: str
    operator: str
    repeat: str
    method: str
    unit: str
    points: Path | None

    @property
    def title(self) -> str:
        """Words that distinguish the scan from others."""
        words = [f"part {self.part}", self.operator and f"operator {self.operator}"]
        words += [self.repeat and f"repeat {self.repeat}", self.method and f"method {self.method}"]
        return ", ".join(filter(None, words))

    @property
    def is_folder(self) -> bool:
        """Whether the scan has been compared before."""
        return self.scan.is_dir()


@dataclass(frozen=True)
class ScanDesign:
    """Who scanned what, as numbers.

    Attributes:
        parts: Names of the parts in the order of the list.
        operators: Names of the operators.
        part: Number of the part of each scan, shape (n,).
        operator: Number of the operator of each scan, shape (n,).
    """

    parts: tuple[str, ...]
    operators: tuple[str, ...]
    part: IntArray
    operator: IntArray


def design_of(scans: Sequence[ListedScan]) -> ScanDesign:
    """Return the design of a list of scans."""
    parts = list(dict.fromkeys(entry.part for entry in scans))
    operators = list(dict.fromkeys(entry.operator for entry in scans))
    return ScanDesign(
        tuple(parts),
        tuple(operators),
        np.array([parts.index(entry.part) for entry in scans]),
        np.array([operators.index(entry.operator) for entry in scans]),
    )


def read_list(path: Path, *, unit: str = "") -> tuple[ListedScan, ...]:
    """Read a CSV file with the columns scan and part, and optionally operator, repeat, method, unit, points.

    Args:
        path: The file; paths in it are relative to its folder. A column ``note`` is for the user alone.
        unit: Unit of scans whose row has none.

    Raises:
        InputError: The file cannot be read, or a row does not make sense.
    """
    rows = csv.DictReader(io.StringIO(read_text(path, most=_LARGEST)), restval="", strict=True)
    try:
        columns = [(name or "").strip().lower() for name in rows.fieldnames or ()]
        _check_columns(path, columns)
        found = []
        for row in rows:
            if None in row:
                raise ValueError("has more cells than the first line")
            cells = dict(zip(columns, map(str.strip, row.values()), strict=True))
            if any(cells.values()):
                found.append(_entry(cells, path.parent, unit))
            if len(found) > _MOST:
                raise ValueError(f"is the {len(found)}th scan; at most {_MOST} can be compared")
    except (csv.Error, ValueError) as error:
        raise _error(path, f"line {rows.line_num}: {error}") from None
    _check_all(path, found)
    return tuple(found)


def reference_scans(scans: Sequence[ListedScan]) -> tuple[str, list[int]]:
    """Name of the first method of a list, and the numbers of its scans."""
    method = scans[0].method
    return method, [i for i, entry in enumerate(scans) if entry.method == method]


def _check_columns(path: Path, columns: Sequence[str]) -> None:
    allowed = (*_REQUIRED, *_OPTIONAL)
    missing = [name for name in _REQUIRED if name not in columns]
    unknown = [name for name in columns if name not in allowed]
    if missing:
        text = f"missing: {', '.join(missing)}; the first line names the columns scan, part"
        raise _error(path, f"{text} and, if wanted, {', '.join(_OPTIONAL)}")
    if unknown or len(set(columns)) < len(columns):
        text = f"column '{unknown[0]}' is not" if unknown else "each column may stand once; they are"
        raise _error(path, f"{text} one of {', '.join(allowed)}")


def _entry(cells: Mapping[str, str], folder: Path, unit: str) -> ListedScan:
    for name in _REQUIRED:
        if not cells[name]:
            raise ValueError(f"{name}: is empty")
    if "\0" in cells["scan"]:
        raise ValueError("scan: is not a path")
    scan = folder / cells["scan"]
    if not scan.exists():
        raise ValueError(f"scan: '{cells['scan'][:200]}' does not exist; paths are relative to the list")
    own = cells.get("unit", "") or unit
    if not scan.is_dir():
        if not own:
            raise ValueError(
                "unit: is empty; state the unit of the scan here or with --unit, it is never guessed"
            )
        unit_scale(own)
    points = folder / cells["points"] if cells.get("points") else None
    if points is not None and ("\0" in cells["points"] or not points.is_file()):
        raise ValueError(f"points: '{cells['points'][:200]}' is not a file; paths are relative to the list")
    operator, repeat, method = (cells.get(name, "") for name in ("operator", "repeat", "method"))
    return ListedScan(scan, cells["part"], operator, repeat, method, "" if scan.is_dir() else own, points)


def _check_all(path: Path, found: Sequence[ListedScan]) -> None:
    if len(found) < 2:
        raise _error(path, f"lists {len(found)} scans; a spread needs at least 2")
    for name in ("operator", "method"):
        named = [bool(getattr(entry, name)) for entry in found]
        if any(named) and not all(named):
            row = found[named.index(False)]
            raise _error(path, f"{name}: is empty for {row.scan.name}; name it for all scans or for none")
    methods = list(dict.fromkeys(entry.method for entry in found))
    if len(methods) > 2:
        raise _error(
            path, f"method: has {len(methods)} values ({', '.join(methods[:5])}); at most two are compared"
        )
    files = [entry.scan.resolve() for entry in found]
    twice = next((file for file in files if files.count(file) > 1), None)
    if twice is not None:
        raise _error(path, f"{twice.name} is listed twice; a scan is no repeat of itself")
    labels = [(e.part, e.operator, e.repeat, e.method) for e in found if e.repeat]
    again = next((label for label in labels if labels.count(label) > 1), None)
    if again is not None:
        raise _error(path, f"repeat '{again[2]}' of part '{again[0]}' is listed twice; number the repeats")
    if sum(entry.method == found[0].method for entry in found) < 2:
        raise _error(path, f"method '{found[0].method}' has only one scan; a spread needs at least 2")


def _error(path: Path, text: str) -> InputError:
    return InputError(f"list of scans {path}: {text}", key="--list", path=str(path))
