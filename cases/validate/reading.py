# SPDX-License-Identifier: MIT
"""Reading a case file into a resolved case, or into one error that lists everything that is wrong."""

import csv
import tomllib
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

from pydantic import ValidationError

from annelid.cases.schema.case import Case
from annelid.cases.schema.units import units_read
from annelid.cases.validate.crosscheck import CrossCheck
from annelid.cases.validate.file_lookup import find_file
from annelid.cases.validate.messages import messages_of
from annelid.cases.validate.requirements import check_requirements, resolved_requirements
from annelid.cases.validate.valid_tables import ValidTables, valid_tables
from annelid.geometry.errors import InputError
from annelid.geometry.lattice.measured_surface import read_radial_surface

__all__ = ["LIBRARY", "case_from_tables", "find_case", "library_cases", "read_case"]

LIBRARY = Path(__file__).parents[1] / "library"
_COLUMNS = ("radius_mm", "height_mm")


def library_cases() -> dict[str, Path]:
    """Return the files of the library cases by name."""
    return {path.stem: path for path in sorted(LIBRARY.glob("*.toml"))}


def find_case(name: str) -> Path:
    """Return the file of a case, which is given by its path or by the name of a library case.

    Raises:
        InputError: There is no such file and no such library case.
    """
    return find_file(name, library_cases(), "case")


def read_case(path: Path | str) -> Case:
    """Read, check and resolve a case file.

    Raises:
        InputError: The file cannot be read, or it has errors; the message has one line for each.
    """
    path = Path(path)
    try:
        tables = tomllib.loads(path.read_text(encoding="utf-8"))
    except OSError as error:
        raise InputError(f"{path}: cannot be read ({error.strerror})", key=str(path)) from None
    except UnicodeDecodeError:
        raise InputError(f"{path}: is not a UTF-8 text file", key=str(path)) from None
    except tomllib.TOMLDecodeError as error:
        raise InputError(f"{path}: is not valid TOML: {error}", key=str(path)) from None
    return case_from_tables(tables, source=str(path), folder=path.parent)


def case_from_tables(tables: Mapping[str, Any], *, source: str = "case", folder: Path = Path()) -> Case:
    """Check and resolve a case given as nested tables.

    Args:
        tables: The tables as a TOML reader returns them.
        source: Name of the file, for messages.
        folder: Folder of the files that the case names.

    Raises:
        InputError: The case has errors; the message has one line for each.
    """
    raw = _with_radii(_with_points(dict(tables), folder), folder)
    messages: list[str] = []
    with units_read() as units:
        try:
            valid = ValidTables(Case.model_validate(raw), {}, set())
        except ValidationError as error:
            messages, valid = messages_of(error, raw), valid_tables(raw)
        check = CrossCheck(raw, valid)
        check_requirements(check.case, check.findings)
        messages += check.findings.messages
        if messages:
            raise _input_error(source, messages)
        case = resolved_requirements(check.case)
    return _with_units(case, units)


def _with_units(case: Case, units: dict[str, list[str]]) -> Case:
    """Set the units of the report: those that the case names, else those that it uses."""
    chosen = case.output.units or {kind: tuple(names) for kind, names in units.items()}
    return case.model_copy(update={"output": case.output.model_copy(update={"units": chosen})})


def _input_error(source: str, lines: list[str]) -> InputError:
    head = f"{source}: {len(lines)} error{'s' if len(lines) > 1 else ''}"
    return InputError("\n".join([head, *(f"  {line}" for line in lines)]), problems=lines)


def _with_points(tables: dict[str, Any], folder: Path) -> dict[str, Any]:
    """Replace the file of a contour by its points, so that the case needs no other file."""
    meridian = _file_table(tables, "shape", "meridian")
    if meridian is None:
        return tables
    columns = _columns(folder / meridian["path"])
    points = {"kind": "points", "radius": columns["radius_mm"], "height": columns["height_mm"]}
    return _with(tables, "shape", "meridian", points)


def companion_files(path: Path) -> list[Path]:
    """Return the files that a case file refers to."""

    def names(value: Any) -> Iterator[str]:
        if isinstance(value, dict):
            if value.get("kind") == "file" and "path" in value:
                yield str(value["path"])
            for inner in value.values():
                yield from names(inner)

    return [path.parent / name for name in names(tomllib.loads(path.read_text(encoding="utf-8")))]


def _with_radii(tables: dict[str, Any], folder: Path) -> dict[str, Any]:
    """Replace the file of a measured surface by its radii, so that the case needs no other file."""
    measured = _file_table(tables, "lattice", "measured")
    if measured is None:
        return tables
    surface = read_radial_surface(folder / measured["path"])
    grid = {
        "kind": "grid",
        "heights": [f"{height} mm" for height in surface.heights],
        "radii": [[f"{radius} mm" for radius in row] for row in surface.radii],
    }
    return _with(tables, "lattice", "measured", grid)


def _file_table(tables: dict[str, Any], outer: str, inner: str) -> dict[str, Any] | None:
    """Return the table ``inner`` of ``outer`` if it names a file; the schema reports invalid tables."""
    outer_table = tables.get(outer)
    table = outer_table.get(inner) if isinstance(outer_table, dict) else None
    if not isinstance(table, dict) or table.get("kind") != "file" or not isinstance(table.get("path"), str):
        return None
    return table


def _with(tables: dict[str, Any], outer: str, inner: str, content: dict[str, Any]) -> dict[str, Any]:
    """Return the tables with the content of a file instead of its path; other keys of the table stay."""
    kept = {key: value for key, value in tables[outer][inner].items() if key not in ("kind", "path")}
    return tables | {outer: tables[outer] | {inner: content | kept}}


def _columns(path: Path) -> dict[str, list[str]]:
    key = "shape.meridian.path"
    try:
        with path.open(newline="", encoding="utf-8-sig") as stream:
            rows = list(csv.DictReader(stream))
    except (OSError, UnicodeDecodeError, csv.Error) as error:
        reason = getattr(error, "strerror", None) or error
        raise InputError(f'{key}: "{path}" cannot be read ({reason})', key=key) from None
    if not rows or any(name not in rows[0] for name in _COLUMNS):
        raise InputError(f'{key}: "{path}" must have rows with the columns {" and ".join(_COLUMNS)}', key=key)
    return {name: [f"{row[name]} mm" for row in rows] for name in _COLUMNS}
