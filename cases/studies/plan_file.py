# SPDX-License-Identifier: MIT
"""The plan of a study on disk: ``plan.jsonl`` has one line for the study, then one line for each run.

Another machine can do the runs from this file alone, and thousands of cases need not be resolved again.
"""

import hashlib
import json
from dataclasses import asdict
from pathlib import Path
from typing import Any

from annelid.cases.run.environment import version
from annelid.cases.studies.design import Variable
from annelid.cases.studies.plan import Plan, PlannedRun
from annelid.cases.studies.reading import StudyFile, study_from_text
from annelid.geometry.errors import InputError
from annelid.results.atomic import write_atomically

__all__ = ["PLAN", "count_points", "plan_matches", "read_plan", "write_plan"]

PLAN = "plan.jsonl"
_KIND, _FORMAT = "annelid study plan", 2


def write_plan(plan: Plan, folder: Path) -> Path:
    """Write the plan of a study atomically."""
    head = {
        "kind": _KIND,
        "format": _FORMAT,
        "source": source_hash(plan.file),
        "ranks": plan.file.study.ranks,
        "path": str(plan.file.path.absolute()),
        "folder": str(plan.file.folder.absolute()),
        "study": plan.file.text,
        "base": plan.file.base,
        "variables": [asdict(variable) for variable in plan.variables],
        "of_point": plan.run_of_point,
        "samples": plan.samples,
    }
    lines = [head, *(asdict(run) for run in plan.runs)]
    return write_atomically(folder / PLAN, "".join(f"{json.dumps(line, default=str)}\n" for line in lines))


def read_plan(folder: Path) -> Plan:
    """Read the plan of a study folder.

    Raises:
        InputError: There is no plan, or it is damaged.
    """
    path = folder / PLAN
    try:
        head, *lines = [json.loads(line) for line in path.read_text(encoding="utf-8").splitlines()]
        if head["kind"] != _KIND or head["format"] != _FORMAT:
            text = "is damaged or was written by another version; start the study again from its file"
            raise InputError(f"{path}: {text}")
        study = study_from_text(head["study"], source=head["path"])
        file = StudyFile(Path(head["path"]), head["study"], study, head["base"], Path(head["folder"]))
        variables = tuple(Variable(**variable) for variable in head["variables"])
        runs = tuple(PlannedRun(**line) for line in lines)
        plan = Plan(file, variables, runs, tuple(head["of_point"]), head["samples"])
    except OSError as error:
        text = f"{folder}: is not a study folder with a plan ({error.strerror}); give the study file instead"
        raise InputError(text, key="STUDY") from None
    except (ValueError, KeyError, TypeError) as error:
        raise InputError(
            f"{path}: is damaged ({error}); delete it and start the study again from its file"
        ) from None
    return plan


def plan_matches(file: StudyFile, folder: Path) -> bool:
    """Whether the plan in a folder was made from this study file."""
    try:
        with open(folder / PLAN, encoding="utf-8") as stream:
            head: Any = json.loads(stream.readline())
    except (OSError, ValueError):
        return False
    return (
        isinstance(head, dict) and head.get("format") == _FORMAT and head.get("source") == source_hash(file)
    )


def count_points(folder: Path) -> int:
    """Number of points of the plan in a folder; 0 without a plan."""
    try:
        with open(folder / PLAN, encoding="utf-8") as stream:
            return len(json.loads(stream.readline())["of_point"])
    except (OSError, ValueError, KeyError, TypeError):
        return 0


def source_hash(file: StudyFile) -> str:
    """Hash of everything that determines the runs: study, base case, contour file and program version."""
    parts = [version(), file.text, json.dumps(file.base, sort_keys=True, default=str)]
    table = file.base.get("shape", {})
    table = table.get("meridian", {}) if isinstance(table, dict) else {}
    contour = table.get("path") if isinstance(table, dict) else None
    if isinstance(contour, str) and (file.folder / contour).is_file():
        parts.append((file.folder / contour).read_text(encoding="utf-8", errors="replace"))
    return hashlib.sha256("\0".join(parts).encode()).hexdigest()
