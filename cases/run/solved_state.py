# SPDX-License-Identifier: MIT
"""The state of a scan, solved for: a case followed to exactly the loads that acted on the part."""

import contextlib
import shutil
import tomllib
from collections.abc import Mapping
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np

from annelid.cases.schema.case import Case
from annelid.cases.schema.stage import StageTable
from annelid.cases.validate.reading import case_from_tables, read_case
from annelid.cases.validate.resolved import case_hash, to_toml
from annelid.compare.alignment.nominal import state_displacement
from annelid.compare.comparison.simulated_part import finished_run
from annelid.compare.comparison.states import VOLUME, StateChoice, load_columns, single_state
from annelid.geometry.errors import InputError
from annelid.results.folder.folder_files import CASE, status
from annelid.results.folder.run_record import RunRecord, open_run
from annelid.solver.model.loads import LOAD_KINDS

__all__ = ["SolvedState", "case_with_loads", "solved_state"]

_FOLDER = "solved"  # in the Run folder
_STAGE = "solved for the scan"


class SolvedState(NamedTuple):
    """A run whose last state has given loads, and a sentence on how it came about."""

    run: Path
    remark: str


def solved_state(run: Path, loads: Mapping[str, float]) -> SolvedState | None:
    """Solve the case of a run on to given loads, and no further, in a Run folder within that of the run.

    Nothing is solved, and None is returned, if a state of the run has exactly these loads.

    Args:
        run: A finished run.
        loads: As for ``states_at``.

    Raises:
        InputError: The run has no such load, has several states with these loads, changes in time, or the
            state cannot be reached.
    """
    record = finished_run(run)
    choice = single_state(record, loads)
    if len(choice.shares) == 1 and not choice.doubts:
        return None
    case = case_with_loads(read_case(record.path / CASE), record, choice, loads)
    wanted = load_columns(record.table, loads)
    goal = ", ".join(f"{name} {record.table.show(name, value)}" for name, value in wanted.items())
    folder = record.path / _FOLDER / case_hash(case)[:8]
    if status(folder) != "finished":
        from annelid.cases.run.run import run_case

        run_case(case, folder, keep_surfaces=False)
    try:
        solved = open_run(folder)
    except InputError as error:
        raise InputError(f"{error}; or remove {folder}, which is then solved again", key="--solve") from None
    if solved.outcome is None or solved.outcome.kind != "reached":
        text = solved.outcome.text if solved.outcome is not None else "the run has no outcome"
        shutil.rmtree(folder)
        with contextlib.suppress(OSError):  # other solved states are there
            folder.parent.rmdir()
        raise InputError(f"--solve: {goal} is not reached ({text}); nothing was compared", key="--solve")
    off = state_displacement(solved, {_last_state(solved): 1.0}) - state_displacement(record, choice.shares)
    size = record.units.show("length", float(np.linalg.norm(off, axis=1).max()), 2)
    states = " and ".join(f"state {state}" for state in sorted(choice.shares))
    nearest = f"the nearest one, {states}," if choice.doubts else f"what lies between {states}"
    remark = (
        f"The state was solved for, with exactly {goal}, in the Run folder {_FOLDER}/{folder.name} within "
        f"that of the run. It differs from {nearest} of the run by up to {size}."
    )
    return SolvedState(folder, remark)


def case_with_loads(case: Case, record: RunRecord, choice: StateChoice, loads: Mapping[str, float]) -> Case:
    """Return a case that ends with given loads, without requirements and searches for limits.

    The stage that contains the state of the run nearest to these loads leads to them from its beginning; if
    the state is the end of a stage, a stage is added. Other loads have their values in this state.

    Args:
        case: The resolved case of the run.
        record: The run.
        choice: The state of the run with these loads, or the nearest one.
        loads: As for ``states_at``.

    Raises:
        InputError: States of the case depend on time, or are not reached by changing loads.
    """
    if case.circuit or case.fluid or case.feeds or any(s.waves or s.duration for s in case.stages):
        raise _refusal("the case changes in time, so its states depend on more than loads")
    table, names = record.table, [stage.name for stage in case.stages]
    row = max(row for row in map(table.row_of, choice.shares) if row is not None)
    number = names.index(table.stages[row])
    at_end = len(choice.shares) == 1 and row == table.stage_ends[names[number]]
    stage = StageTable() if at_end else case.stages[number]
    driven = "volume" if VOLUME in loads else "load"
    if stage.control not in ("load", driven):
        given = f"stage '{stage.name}', in which this state lies, is driven by {stage.control}"
        hint = "; give --volume alone" if stage.control == "volume" else ""
        raise _refusal(f"{given}{hint}")
    update: dict[str, Any] = {"name": _unused(names), "until": (), "until_tolerance": None}
    update |= _targets(stage, record, choice, loads)
    stages = (*case.stages[: number + at_end], stage.model_copy(update=update))
    path = case.path.model_copy(update={"seek_limit": 1.0, "harmonics": "none"})
    output = case.output.model_copy(update={"fields": "stage ends"})
    more = {"stages": stages, "requirements": (), "comparison": None, "path": path, "output": output}
    return case_from_tables(tomllib.loads(to_toml(case.model_copy(update=more))), source="--solve")


def _targets(
    stage: StageTable, record: RunRecord, choice: StateChoice, loads: Mapping[str, float]
) -> dict[str, Any]:
    """Targets of a stage: the given loads, and of those that it changes anyway their values in the state."""
    table, wanted = record.table, load_columns(record.table, loads)
    update: dict[str, Any] = {}
    if VOLUME in wanted:
        if "pressure" in wanted:
            text = "--volume: the pressure, which is given, too, follows from it; give one of them"
            raise InputError(text, key="--volume")
        update |= {"volume": wanted[VOLUME], "control": "volume", "pressure": None}
    for kind in LOAD_KINDS:
        own = getattr(stage, kind.key)
        found: dict[str, float] = {}
        for entry, column in table.loads_of(kind.key).items():
            if column in wanted:
                found[entry] = wanted[column]
            elif (entry in own) if kind.acts_on else own is not None:
                rows = {table.row_of(state): share for state, share in choice.shares.items()}
                found[entry] = float(sum(share * table[column][row] for row, share in rows.items()))
        if found and not ("pressure" in update and kind.key == "pressure"):
            update[kind.key] = found if kind.acts_on else found[""]
    return update


def _refusal(reason: str) -> InputError:
    return InputError(f"--solve: {reason}; end a stage of the case there instead", key="--solve")


def _unused(names: list[str]) -> str:
    name = _STAGE
    while name in names:
        name += " again"
    return name


def _last_state(record: RunRecord) -> int:
    return max(record.field_files)
