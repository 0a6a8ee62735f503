# SPDX-License-Identifier: MIT
"""A verification as a parameter study, whose workers, limits, hashes and folder it uses."""

import tomllib
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import tomli_w

from annelid.cases.schema.case import Case
from annelid.cases.studies.keys import last_part
from annelid.cases.studies.opening import create_study
from annelid.cases.studies.plan import Plan, make_plan
from annelid.cases.studies.reading import StudyFile, study_from_text
from annelid.cases.studies.store import Store
from annelid.cases.validate.resolved import case_hash, to_toml
from annelid.cases.verify.refinement import RefinedRun
from annelid.geometry.errors import InputError
from annelid.geometry.text_files import read_text

__all__ = ["create_folder", "default_folder", "verification_plan"]

_STUDY, _LARGEST = "study.toml", 10_000_000


def default_folder(name: str, case: Case) -> Path:
    """Return the default folder: ``verifications/<name>-<first digits of the hash of the case>``."""
    return Path("verifications") / f"{name}-{case_hash(case)[:8]}"


def verification_plan(case: Case, runs: Sequence[RefinedRun], *, hours: float = 1.0) -> Plan:
    """Return the plan of a verification; its points are the runs, in their order.

    Args:
        case: A resolved case.
        runs: The runs.
        hours: Time limit of one run.

    Raises:
        InputError: No run has a valid case.
    """
    tables = tomllib.loads(to_toml(case))
    tables.get("output", {}).pop("fields", None)
    varied: list[dict[str, Any]] = [
        {"name": "run", "values": [run.name for run in runs], "pair": "refinement"}
    ]
    for number, key in enumerate(runs[0].keys, start=1):
        name = f"{last_part(key)}_{number}"
        varied.append(
            {"name": name, "key": key, "values": [run.keys[key] for run in runs], "pair": "refinement"}
        )
    content: dict[str, Any] = {
        "title": f"Verification of: {case.title}",
        "case": tables,
        "vary": varied,
        "limits": {"time": f"{hours * 3600:g} s"},
        "output": {"reports": False},
    }
    text = tomli_w.dumps(content)
    study = study_from_text(text, source="the verification")
    return make_plan(StudyFile(Path("verification.toml"), text, study, tables, Path()))


def create_folder(plan: Plan, store: Store) -> None:
    """Create the folder of a verification, or check that it is that of this one.

    Raises:
        InputError: The folder contains something else, or another verification.
    """
    file = store.path / _STUDY
    if file.is_file() and _base(read_text(file, most=_LARGEST)) != _base(plan.file.text):
        text = (
            f"{store.path}: is the folder of another case or study; nothing was written. Choose another one"
        )
        raise InputError(text, key="OUT")
    create_study(plan, store)


def _base(text: str) -> Any:
    """The case of a study, by which a folder is known again when the number of meshes changes."""
    try:
        return tomllib.loads(text).get("case")
    except tomllib.TOMLDecodeError:
        return None
