# SPDX-License-Identifier: MIT
"""From what was typed to a plan and its study folder."""

from pathlib import Path

from annelid.cases.studies.plan import Plan, plan_of
from annelid.cases.studies.plan_file import PLAN, matches, points_in, read_plan, write_plan
from annelid.cases.studies.reading import StudyFile, find_study, read_study
from annelid.cases.studies.store import Store

__all__ = ["create", "default_folder", "open_study"]


def default_folder(path: Path) -> Path:
    """Where a study is kept if nothing else is said: ``studies/<name of the file>``."""
    return Path("studies") / path.stem


def open_study(name: str, out: Path | None = None) -> tuple[Plan, Store]:
    """Plan a study; nothing is written.

    Args:
        name: A study file, the name of a library study, or a study folder that holds a plan.
        out: The study folder; ``None`` for the usual one.

    Returns:
        The plan, taken from the folder where it was made from these same files, and the store.

    Raises:
        InputError: There is no such study, or it says something that cannot be meant.
    """
    if out is None and (Path(name) / PLAN).is_file():
        return read_plan(Path(name)), Store(Path(name))
    path = find_study(name)
    store = Store(out or default_folder(path))
    file = read_study(path)
    return (read_plan(store.path) if matches(file, store.path) else _first_plan(file)), store


def _first_plan(file: StudyFile) -> Plan:
    if file.study.search is None:
        return plan_of(file)
    from annelid.cases.studies.search import begin

    return begin(file)


def create(plan: Plan, store: Store) -> None:
    """Make the study folder and write the plan into it.

    Raises:
        InputError: It is something else, or cannot be written.
        DiskFull: The disk is full.
    """
    store.create(plan.file.text, plan.file.study.title)
    if not matches(plan.file, store.path) or points_in(store.path) != len(plan.of_point):
        with store.writing():
            write_plan(plan, store.path)
