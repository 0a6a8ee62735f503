# SPDX-License-Identifier: MIT
"""From a case file to a resolved case, or to messages that say what to mend."""

import csv
import tomllib
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

from pydantic import ValidationError

from annelid.cases.schema.case import Case
from annelid.cases.validate.crosscheck import problems
from annelid.cases.validate.finding import find_file
from annelid.cases.validate.messages import complaints
from annelid.cases.validate.requirements import requirement_problems, resolved_requirements
from annelid.cases.validate.resolved import resolved
from annelid.geometry.errors import InputError
from annelid.geometry.lattice.measured_surface import read_radial_surface

__all__ = ["LIBRARY", "case_from_tables", "find_case", "library_cases", "read_case"]

LIBRARY = Path(__file__).parents[1] / "library"
_COLUMNS = ("radius_mm", "height_mm")


def library_cases() -> dict[str, Path]:
    """The cases that come with the program, by name."""
    return {path.stem: path for path in sorted(LIBRARY.glob("*.toml"))}


def find_case(name: str) -> Path:
    """The file of a case: a path, or the name of a library case.

    Raises:
        InputError: There is neither.
    """
    return find_file(name, library_cases(), "case")


def read_case(path: Path | str) -> Case:
    """Read, check and resolve a case file.

    Raises:
        InputError: The file cannot be read, or says something that cannot be meant; one line for each.
    """
    path = Path(path)
    try:
        tables = tomllib.loads(path.read_text(encoding="utf-8"))
    except OSError as error:
        raise InputError(f"{path}: cannot be read ({error.strerror})", key=str(path)) from None
    except UnicodeDecodeError:
        raise InputError(f"{path}: is not a text file in UTF-8", key=str(path)) from None
    except tomllib.TOMLDecodeError as error:
        raise InputError(f"{path}: is not valid TOML: {error}", key=str(path)) from None
    return case_from_tables(tables, source=str(path), folder=path.parent)


def case_from_tables(tables: Mapping[str, Any], *, source: str = "case", folder: Path = Path()) -> Case:
    """Check and resolve a case given as nested tables.

    Args:
        tables: As a TOML reader returns them.
        source: Name of the file, for messages.
        folder: Where the files lie that the case names.

    Raises:
        InputError: It says something that cannot be meant; one line for each thing wrong.
    """
    raw = _with_radii(_with_points(dict(tables), folder), folder)
    try:
        case = Case.model_validate(raw)
    except ValidationError as error:
        raise _input_error(source, complaints(error, raw)) from None
    wrong = problems(case, raw) or requirement_problems(case, raw)
    if wrong:
        raise _input_error(source, wrong)
    return resolved_requirements(resolved(case))


def _input_error(source: str, lines: list[str]) -> InputError:
    head = f"{source}: {len(lines)} thing{'s' if len(lines) > 1 else ''} to mend"
    return InputError("\n".join([head, *(f"  {line}" for line in lines)]), problems=lines)


def _with_points(tables: dict[str, Any], folder: Path) -> dict[str, Any]:
    """Put the points of a contour file into the case, so that the case stands by itself."""
    meridian = _file_table(tables, "shape", "meridian")
    if meridian is None:
        return tables
    columns = _columns(folder / meridian["path"])
    points = {"kind": "points", "radius": columns["radius_mm"], "height": columns["height_mm"]}
    return _with(tables, "shape", "meridian", points)


def companions(path: Path) -> list[Path]:
    """The files that a case file reads."""

    def named(value: Any) -> Iterator[str]:
        if isinstance(value, dict):
            if value.get("kind") == "file" and "path" in value:
                yield str(value["path"])
            for inner in value.values():
                yield from named(inner)

    return [path.parent / name for name in named(tomllib.loads(path.read_text(encoding="utf-8")))]


def _with_radii(tables: dict[str, Any], folder: Path) -> dict[str, Any]:
    """Put the radii of a measured surface into the case, so that the case stands by itself."""
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
    """The table ``inner`` in the table ``outer`` if it names a file; wrong ones are left to the schema."""
    around = tables.get(outer)
    table = around.get(inner) if isinstance(around, dict) else None
    if not isinstance(table, dict) or table.get("kind") != "file" or not isinstance(table.get("path"), str):
        return None
    return table


def _with(tables: dict[str, Any], outer: str, inner: str, content: dict[str, Any]) -> dict[str, Any]:
    """The tables with the content of a file in place of its path; other keys beside the path stay."""
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
        raise InputError(f'{key}: "{path}" needs rows under the columns {" and ".join(_COLUMNS)}', key=key)
    return {name: [f"{row[name]} mm" for row in rows] for name in _COLUMNS}
