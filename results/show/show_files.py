# SPDX-License-Identifier: MIT
"""The folder ``show/`` of a run: the whole deformed part at every state, for ParaView and pyvista.

It is made from the Run folder alone, like the report, and the program does not read it. The ``.pvd`` files
are written last, so they name complete files only.
"""

import os
from collections.abc import Mapping
from pathlib import Path

import numpy as np

from annelid.geometry.writing import PART_SUFFIX
from annelid.results.atomic import write_atomically
from annelid.results.fields.vtk_files import collection
from annelid.results.folder.cycles import last_cycle, timed_rows
from annelid.results.folder.digests import digest_of
from annelid.results.folder.folder_files import PATH, SHOW
from annelid.results.folder.run_record import RunRecord, open_run
from annelid.results.folder.tables import PathRecord
from annelid.results.show.shown_fields import ranges
from annelid.results.show.shown_part import ShownPart
from annelid.results.show.state_numbers import times_of
from annelid.solver.model.quantities import TIME

__all__ = ["ALL_STATES", "LAST_STATE", "OVER_TIME", "chosen_states", "shown_states", "write_show"]

LAST_STATE, ALL_STATES, OVER_TIME = "last_state.pvd", "all_states.pvd", "over_time.pvd"
_MOST_STATES = 40
_SAME = 1e-6  # of a period
_MOST_POINTS = 4_000_000  # of all states together, in files of some 60 MB


def write_show(path: Path | str) -> Path | None:
    """Write the folder ``show/`` into a Run folder, finished or not; files of an earlier call are replaced.

    Args:
        path: The Run folder.

    Returns:
        Path of the file with the last state; ``None`` if no fields were stored.

    Raises:
        InputError: The folder contains no run, or one of its files is damaged.
        OSError: The disk is full, or the folder cannot be written to.
    """
    run = open_run(path)
    folder = run.path / SHOW
    _remove_files(folder)
    if not os.path.lexists(run.path / PATH) or not run.field_files:
        return None
    part = ShownPart(run)
    states = shown_states(run, part.points)
    over_all = ranges(map(part.fields, states))
    times = times_of(run.table)[1]
    folder.mkdir(exist_ok=True)
    entries = {}
    for state in states:
        name, content = f"state_{state:04d}.vtu", part.file(state, over_all)
        write_atomically(folder / name, content)
        entries[part.rows[state]] = (name, digest_of(content))
    _write_over_time(run.table, folder, entries)
    files = [(float(times[row]), *file) for row, file in entries.items()]
    write_atomically(folder / ALL_STATES, collection(files))
    return write_atomically(folder / LAST_STATE, collection(files[-1:]))


def _write_over_time(table: PathRecord, folder: Path, entries: Mapping[int, tuple[str, str]]) -> None:
    """Write the collection of the states in which time passes, if there are any."""
    time = table.columns.get(TIME.name, np.zeros(0))
    if timed := [(float(time[row]), *entries[row]) for row in timed_rows(time) if row in entries]:
        write_atomically(folder / OVER_TIME, collection(timed))


def _remove_files(folder: Path) -> None:
    """Remove the files of an earlier call, the collections first; files of the user are kept."""
    for pattern in (LAST_STATE, ALL_STATES, OVER_TIME, "state_*.vtu", f".*{PART_SUFFIX}"):
        for file in folder.glob(pattern):
            file.unlink()


def shown_states(run: RunRecord, points: int) -> list[int]:
    """Return the states that are shown, of a whole part with a number of points."""
    table = run.table
    marks = [row for marks in (table.critical, table.reached_by) for row, mark in enumerate(marks) if mark]
    numbers = table["state"].astype(int)
    stored = sorted(set(run.field_files) & set(numbers.tolist()))
    important = set(numbers[[*table.stage_ends.values(), *marks, *_rows_of_last_cycle(run)]].tolist())
    return chosen_states(stored, important, max(2, min(_MOST_STATES, _MOST_POINTS // points)))


def _rows_of_last_cycle(run: RunRecord) -> list[int]:
    cycle = last_cycle(run.table, run.description.cycles)
    if cycle is None:
        return []
    rows, slack = timed_rows(run.table[TIME.name]), _SAME * cycle.period
    time = run.table[TIME.name][rows]
    return [int(row) for row in rows[(time >= cycle.start - slack) & (time <= cycle.end + slack)]]


def chosen_states(states: list[int], important: set[int], most: int) -> list[int]:
    """Choose states if there are too many.

    Args:
        states: The states whose fields were stored, in ascending order.
        important: Those that come before others: ends of stages, critical points, ends of jumps, and the
            last whole cycle.
        most: The largest number of states, at least 2.

    Returns:
        In ascending order, with the first and the last; of what is left over, states at equal distances.
    """
    if len(states) <= most:
        return states
    first = [state for state in states if state in important | {states[0], states[-1]}]
    if len(first) >= most:
        return [first[round(place)] for place in np.linspace(0, len(first) - 1, most)]
    rest = sorted(set(states) - set(first))
    places = np.linspace(-1, len(rest), most - len(first) + 2)[1:-1]
    return sorted(first + [rest[round(place)] for place in places])
