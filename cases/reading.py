# SPDX-License-Identifier: MIT
"""From a case file to a resolved case, or to messages that say what to mend."""

import csv
import tomllib
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from pydantic import ValidationError

from cases.complaints import complaints, nearest
from cases.crosscheck import problems
from cases.requirements import requirement_problems, resolved_requirements
from cases.resolved import resolved
from cases.schema import Case
from geometry.errors import InputError
from geometry.measured import measured_from_csv

__all__ = ["LIBRARY", "case_from_tables", "find_case", "library_cases", "read_case"]

LIBRARY = Path(__file__).parent / "library"
_COLUMNS = ("radius_mm", "height_mm")


def library_cases() -> dict[str, Path]:
    """The cases that come with the program, by name."""
    return {path.stem: path for path in sorted(LIBRARY.glob("*.toml"))}


def find_case(name: str) -> Path:
    """The file of a case: a path, or the name of a library case.

    Raises:
        InputError: There is neither.
    """
    path = Path(name)
    if path.suffix == "" and not path.is_file() and name in library_cases():
        return library_cases()[name]
    if not path.is_file():
        what = "is a folder" if path.is_dir() else "is no file"
        known = list(library_cases())
        text = f"{name}: {what} and no library case{nearest(name, known)}; library cases: {', '.join(known)}"
        raise InputError(text, key=name)
    return path


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
    shape = tables.get("shape")
    if not isinstance(shape, dict):
        return tables
    meridian = shape.get("meridian")
    if not isinstance(meridian, dict) or meridian.get("kind") != "file":
        return tables
    if not isinstance(meridian.get("path"), str):
        return tables
    columns = _columns(folder / meridian["path"])
    kept = {key: value for key, value in meridian.items() if key not in ("kind", "path")}
    points = {"kind": "points", "radius": columns["radius_mm"], "height": columns["height_mm"]} | kept
    return tables | {"shape": shape | {"meridian": points}}


def _with_radii(tables: dict[str, Any], folder: Path) -> dict[str, Any]:
    """Put the radii of a measured surface into the case, so that the case stands by itself."""
    lattice = tables.get("lattice")
    if not isinstance(lattice, dict):
        return tables
    measured = lattice.get("measured")
    if not isinstance(measured, dict) or measured.get("kind") != "file":
        return tables
    if not isinstance(measured.get("path"), str):
        return tables
    surface = measured_from_csv(folder / measured["path"])
    kept = {key: value for key, value in measured.items() if key not in ("kind", "path")}
    grid = {
        "kind": "grid",
        "heights": [f"{height} mm" for height in surface.heights],
        "radii": [[f"{radius} mm" for radius in row] for row in surface.radii],
    }
    return tables | {"lattice": lattice | {"measured": grid | kept}}


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
