# SPDX-License-Identifier: MIT
"""Reading a study file and the tables of its base case."""

from pathlib import Path
from typing import Any, NamedTuple

from pydantic import ValidationError

from annelid.cases.schema.base import Table
from annelid.cases.studies.schema import (
    Derive,
    Objective,
    RunLimits,
    Sampling,
    Search,
    Study,
    StudyOutput,
    Vary,
)
from annelid.cases.validate.file_lookup import find_file
from annelid.cases.validate.messages import errors_of, path_of, reason
from annelid.cases.validate.reading import find_case
from annelid.cases.validate.toml_files import LARGEST, read_toml, tables_of
from annelid.geometry.checks import nearest
from annelid.geometry.errors import InputError
from annelid.geometry.text_files import read_text

__all__ = ["StudyFile", "find_study", "library_studies", "read_study", "study_from_text"]

LIBRARY = Path(__file__).parents[1] / "library" / "studies"


class StudyFile(NamedTuple):
    """A study file as read: path, text, study, and the base case as tables with its folder."""

    path: Path
    text: str
    study: Study
    base: dict[str, Any]
    folder: Path


def library_studies() -> dict[str, Path]:
    """Files of the library studies by name."""
    return {path.stem: path for path in sorted(LIBRARY.glob("*.toml"))}


def find_study(name: str) -> Path:
    """Find the file of a study.

    Args:
        name: A path, or the name of a library study.

    Raises:
        InputError: There is no such file and no such library study.
    """
    return find_file(name, library_studies(), "study")


def read_study(path: Path) -> StudyFile:
    """Read a study file and its base case; the case is validated later, for each point.

    Raises:
        InputError: A file cannot be read, or the study is not valid.
    """
    text = read_text(path, most=LARGEST)
    study = study_from_text(text, source=str(path))
    if isinstance(study.case, dict):
        return StudyFile(path, text, study, study.case, path.parent)
    beside = path.parent / study.case
    case = beside if beside.is_file() else find_case(study.case)
    return StudyFile(path, text, study, read_toml(case), case.parent)


def study_from_text(text: str, *, source: str) -> Study:
    """Validate a study given as TOML text.

    Args:
        text: The study.
        source: Name of its file, for messages.

    Raises:
        InputError: The study is not valid; one line for each error.
    """
    tables = tables_of(text, source)
    try:
        return Study.model_validate(tables)
    except ValidationError as error:
        lines = [_sentence(item, tables) for item in errors_of(error)]
        head = f"{source}: {len(lines)} error{'s' if len(lines) > 1 else ''}"
        raise InputError("\n".join([head, *(f"  {line}" for line in lines)]), problems=lines) from None


def _sentence(item: dict[str, Any], tables: dict[str, Any]) -> str:
    """One error: the path of the key, and the allowed keys if it is unknown."""
    keys = _keys(item, tables)
    path = path_of(tables, *keys) if keys else "the study"
    if item["type"] == "extra_forbidden":
        tables_of: dict[str, type[Table]] = {
            "vary": Vary,
            "derive": Derive,
            "sampling": Sampling,
            "objectives": Objective,
        }
        tables_of |= {"limits": RunLimits, "output": StudyOutput, "search": Search}
        table = tables_of.get(str(keys[0]), Study) if len(keys) > 1 else Study
        allowed = sorted(field.alias or name for name, field in table.model_fields.items())
        return f"{path}: unknown key{nearest(str(keys[-1]), allowed)}; allowed here: {', '.join(allowed)}"
    if item["type"] == "missing":
        return f"{path}: missing"
    return f"{path}: {reason(item)}"


def _keys(item: dict[str, Any], tables: dict[str, Any]) -> list[str | int]:
    """The keys that lead to an error; for a union the location includes the name of the failed member."""
    keys: list[str | int] = []
    inside: Any = tables
    for part in item["loc"]:
        known = (
            isinstance(part, int) if isinstance(inside, list) else isinstance(inside, dict) and part in inside
        )
        if known:
            inside = inside[part]
        if known or item["type"] == "missing":
            keys.append(part)
    return keys
