# SPDX-License-Identifier: MIT
"""Opening a study by its name: its plan and its study folder."""

from pathlib import Path

from annelid.cases.studies.plan import Plan, make_plan
from annelid.cases.studies.plan_file import PLAN, count_points, plan_matches, read_plan, write_plan
from annelid.cases.studies.reading import StudyFile, find_study, read_study
from annelid.cases.studies.store import Store

__all__ = ["create_study", "default_study_folder", "open_study"]


def default_study_folder(path: Path) -> Path:
    """Default study folder of a study file: ``studies/<name of the file>``."""
    return Path("studies") / path.stem


def open_study(name: str, out: Path | None = None) -> tuple[Plan, Store]:
    """Plan a study without writing anything.

    Args:
        name: A study file, the name of a library study, or a study folder with a plan.
        out: The study folder; ``None`` for the default one.

    Returns:
        The plan and the study folder. The plan is read from the folder if it was made from the same files.

    Raises:
        InputError: There is no such study, or it is not valid.
    """
    if out is None and (Path(name) / PLAN).is_file():
        return read_plan(Path(name)), Store(Path(name))
    path = find_study(name)
    store = Store(out or default_study_folder(path))
    file = read_study(path)
    return (read_plan(store.path) if plan_matches(file, store.path) else _first_plan(file)), store


def _first_plan(file: StudyFile) -> Plan:
    if file.study.search is None:
        return make_plan(file)
    from annelid.cases.studies.search import initial_plan

    return initial_plan(file)


def create_study(plan: Plan, store: Store) -> None:
    """Create the study folder and write the plan into it.

    Raises:
        InputError: The folder is not a study folder, or cannot be written.
        DiskFull: The disk is full.
    """
    store.create(plan.file.text, plan.file.study.title)
    if not plan_matches(plan.file, store.path) or count_points(store.path) != len(plan.run_of_point):
        with store.writing():
            write_plan(plan, store.path)
