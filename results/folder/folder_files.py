# SPDX-License-Identifier: MIT
"""Names of the files in a Run folder, and the status of the run."""

import contextlib
import json
import math
import shutil
from collections.abc import Mapping
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, Literal

import numpy as np

from annelid.geometry.errors import InputError
from annelid.geometry.text_files import read_text
from annelid.geometry.writing import PART_SUFFIX, naming, system_error
from annelid.results.atomic import write_atomically

Status = Literal["absent", "finished", "unfinished", "of another case", "not a run folder"]

PROVENANCE, SUMMARY, CASE, BODY, LOG = "provenance.json", "summary.json", "case.toml", "body.npz", "log.txt"
MESHED_HASH = "meshed_case_hash"
"""Key of the provenance of a run whose mesh was chosen: hash of its case with that mesh."""
DESCRIPTION = "description.json"
INFLATION = "inflation.csv"
PATH, PROFILES, FLOW, FIELDS, SURFACE = "path.csv", "profiles.csv", "flow.csv", "fields", "surface"
REPORT, ANIMATION, SHOW = "report.html", "animation.gif", "show"  # made from the other files
PVD, TIMED_PVD = "fields/fields.pvd", "fields/over_time.pvd"
FOLDER_KIND, FORMAT = "annelid run", 2
_LARGEST_JSON = 100_000_000  # bytes
_END = "ended unfinished: "
_MADE = (REPORT, ANIMATION, SHOW)
_TABLES = (INFLATION, PATH, PROFILES, FLOW)
_RUN_FILES = (SUMMARY, *_MADE, *_TABLES, FIELDS, SURFACE, BODY, CASE, DESCRIPTION, LOG)


def status(path: Path | str, case_hash: str | None = None) -> Status:
    """Return the status of the run in a folder; possible at any moment of the run.

    Args:
        path: The folder.
        case_hash: Hash of the expected resolved case; ``None`` accepts any case.

    Returns:
        ``"absent"`` (no such folder, or an empty one), ``"finished"``, ``"unfinished"``, ``"of another
        case"`` or ``"not a run folder"``.

    Raises:
        InputError: The system does not allow to look into the folder.
    """
    folder = Path(path)
    try:
        return _status(folder, case_hash)
    except OSError as error:
        raise system_error(error) from None


def _status(folder: Path, case_hash: str | None) -> Status:
    if not folder.exists():
        return "absent"
    if not folder.is_dir():
        return "not a run folder"
    provenance = read_json(folder / PROVENANCE)
    if provenance is None:
        names = [p.name for p in folder.iterdir()]
        empty = all(name.startswith(".lock") or name.endswith(PART_SUFFIX) for name in names)
        return "absent" if empty else "not a run folder"
    if provenance.get("kind") != FOLDER_KIND:
        return "not a run folder"
    if case_hash is not None and provenance.get("case_hash") != case_hash:
        return "of another case"
    summary = read_json(folder / SUMMARY)
    return "finished" if summary and summary.get("case_hash") == provenance.get("case_hash") else "unfinished"


def read_json(path: Path) -> dict[str, Any] | None:
    """Read a JSON object; ``None`` if there is no such file or it contains something else."""
    try:
        content = json.loads(read_text(path, most=_LARGEST_JSON))
    except (InputError, ValueError, RecursionError):
        return None
    return content if isinstance(content, dict) else None


def check_writable(folder: Path, case_hash: str, *, rerun: bool) -> None:
    """Check that a run of a case may be written to a folder.

    Raises:
        InputError: It contains something else, another case, or (unless ``rerun``) the finished run of this
            case.
    """
    current = status(folder, case_hash)
    if current == "absent":
        _check_name(folder)
    problem = {
        "not a run folder": "is not a Run folder; nothing was written. Choose a new or empty folder",
        "of another case": "contains a run of another case; nothing was written. Choose another folder, or "
        "delete this one first",
        "finished": "contains the finished run of this case; nothing was written. Read its report, or run it "
        "again (--again)",
    }.get(current)
    if problem and not (rerun and current == "finished"):
        raise InputError(f"{folder}: {problem}", key="RUNDIR", folder=str(folder), status=current)


def _check_name(folder: Path) -> None:
    """Check the length of a name; in a folder that does not exist the system finds no error in it."""
    try:
        Path(folder.name).exists()
    except OSError as error:
        error.filename = str(folder)
        raise system_error(error) from None


def append_log(folder: Path, text: str) -> None:
    """Append lines with the time to ``log.txt``."""
    path = folder / LOG
    with naming(path), open(path, "a", encoding="utf-8") as file:
        file.write("".join(f"{utc_now()}  {line}\n" for line in text.splitlines() or [""]))


def log_end(folder: Path, reason: str) -> None:
    """Write to the log of an unfinished run why it ended, unless this is written already."""
    with contextlib.suppress(OSError):  # a full disk, which may be this reason
        if status(folder) == "unfinished" and not end_reason(folder):
            append_log(folder, _END + " ".join(reason.split()))


def end_reason(folder: Path) -> str:
    """Why an unfinished run ended; empty if it may still run or was killed."""
    with contextlib.suppress(OSError, IndexError):
        last = (folder / LOG).read_text(encoding="utf-8", errors="replace").splitlines()[-1]
        return last.partition(_END)[2]
    return ""


def remove_run_files(folder: Path) -> None:
    """Remove the files of an earlier run of the same case, the summary first; keep all other files."""
    for name in _RUN_FILES:
        remove(folder / name)
    for leftover in folder.glob(f".*{PART_SUFFIX}"):
        leftover.unlink(missing_ok=True)


def remove(path: Path) -> None:
    """Remove a file or a folder, if there is one."""
    if path.is_dir() and not path.is_symlink():
        shutil.rmtree(path)
    else:
        path.unlink(missing_ok=True)


def run_files(folder: Path) -> list[str]:
    """Names of all files that a run has written, except its summary and its report."""
    states = (path for part in (FIELDS, SURFACE) for path in (folder / part).glob("state_*"))
    fixed = (PROVENANCE, CASE, DESCRIPTION, BODY, LOG, *_TABLES, PVD, TIMED_PVD)
    present = [name for name in fixed if (folder / name).exists()]
    return present + sorted(str(path.relative_to(folder)) for path in states)


def write_json(path: Path, content: Mapping[str, Any]) -> Path:
    """Write a JSON object atomically; ``inf`` and ``nan``, which JSON does not have, become texts."""
    return write_atomically(path, json.dumps(json_value(content), indent=2, allow_nan=False) + "\n")


def json_value(value: Any) -> Any:
    """Convert numpy numbers, tuples and paths for JSON; ``inf`` and ``nan`` become texts."""
    match value:
        case Mapping():
            return {str(key): json_value(member) for key, member in value.items()}
        case None | bool() | int() | str():
            return value
        case float() | np.floating():
            number = float(value)
            return number if math.isfinite(number) else str(number)
        case np.bool_() | np.integer() | np.ndarray():
            return json_value(value.tolist())
        case list() | tuple() | set():
            return [json_value(member) for member in value]
        case _:
            return str(value)


def utc_now() -> str:
    """Return the current time in UTC, to the second."""
    return datetime.now(UTC).isoformat(timespec="seconds")
