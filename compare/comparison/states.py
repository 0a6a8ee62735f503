# SPDX-License-Identifier: MIT
"""The state of a run that a scan is compared with: named, or found by the loads that acted on the part."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import NamedTuple

import numpy as np

from annelid.compare.comparison.interpolation import interpolation_error
from annelid.geometry.body import FloatArray, IntArray
from annelid.geometry.errors import InputError
from annelid.results.folder.run_record import RunRecord
from annelid.results.folder.tables import PathRecord
from annelid.results.views.headline import state_text
from annelid.solver.display import counted
from annelid.solver.model.loads import load_kind

VOLUME = "lumen volume"
_SAME = 1e-6  # of the largest value of a load
_MANY = 4  # states that a message lists
_SOLVED = "With --solve the scan is compared with a state that is solved for."


@dataclass(frozen=True)
class StateChoice:
    """A state of a run, or one between two states.

    Attributes:
        shares: States and their shares, which sum to 1.
        text: What it is, for sentences.
        remarks: Sentences on how it was chosen.
        doubts: Sentences on why it may be the wrong one.
    """

    shares: Mapping[int, float]
    text: str
    remarks: tuple[str, ...] = ()
    doubts: tuple[str, ...] = ()

    @property
    def nearest(self) -> int:
        """The state with the largest share."""
        return max(self.shares, key=lambda state: self.shares[state])


class _Match(NamedTuple):
    """A place between two rows of stored states, at a share of the way, and how far it is off."""

    first: int
    second: int
    share: float
    distance: float


def named_state(run: RunRecord, state: int | None) -> StateChoice:
    """Return a state by its number, from the end if negative; None for the last.

    Raises:
        InputError: Its fields were not stored.
    """
    file = run.field_file(state)
    number = next(number for number, path in run.field_files.items() if path == file)
    return StateChoice({number: 1.0}, state_text(run, number))


def stored_states(run: RunRecord) -> list[StateChoice]:
    """Return all states whose fields were stored, in path order."""
    return [named_state(run, int(state)) for state in run.table["state"][_stored(run)]]


def states_at(run: RunRecord, loads: Mapping[str, float]) -> list[StateChoice]:
    """Return the states in which loads have given values, or the nearest one if there is none.

    Between two states of the same path the displacement is interpolated linearly.

    Args:
        run: The run.
        loads: Values in internal units by name: those of the columns of ``path.csv``, or ``"voltage"`` for
            all electrodes.

    Raises:
        InputError: The run has no such load.
    """
    table, rows = run.table, _stored(run)
    names = load_columns(table, loads)
    scale = {name: float(np.abs(np.nan_to_num(table[name])).max()) or 1.0 for name in names}
    place = np.column_stack([np.nan_to_num(table[name][rows]) / scale[name] for name in names])
    goal = np.array([names[name] / scale[name] for name in names])
    matches = list(_matches(place, goal, _broken(table, rows)))
    closest = min(match.distance for match in matches)
    if closest > _SAME:
        match = min(matches, key=lambda match: match.distance)
        row = rows[match.second if match.share > 0.5 else match.first]
        return [_nearest(run, int(row), names)]
    found: dict[tuple[int, int, float], StateChoice] = {}
    for first, second, share, distance in matches:
        if distance <= _SAME:
            ends = (first, first, 0.0) if share < _SAME else (second, second, 0.0)
            key = ends if not _SAME <= share <= 1.0 - _SAME else (first, second, share)
            if key not in found:
                found[key] = _between(run, rows, key, list(names))
    return list(found.values())


def single_state(run: RunRecord, loads: Mapping[str, float]) -> StateChoice:
    """Return the state in which loads have given values; arguments as for ``states_at``.

    Raises:
        InputError: The run has no such load, or several states.
    """
    found = states_at(run, loads)
    if len(found) == 1:
        return found[0]
    columns, table = load_columns(run.table, loads), run.table
    rows = [row for row in (table.row_of(choice.nearest) for choice in found) if row is not None]
    differing = [
        name
        for name in (*table.varying_loads, VOLUME)
        if name not in columns and name in table.columns and np.ptp(table[name][rows]) > 0
    ]
    listed = []
    for choice, row in zip(found[:_MANY], rows, strict=False):
        values = ", ".join(f"{name} {table.show(name, float(table[name][row]))}" for name in differing)
        listed.append(f"{_between_text(choice)} ({values})")
    more = f"; and {counted(len(found) - _MANY, 'other')}" if len(found) > _MANY else ""
    option = next((f"give {_option(name)}, too, or " for name in differing if _option(name)), "")
    raise InputError(
        f"{len(found)} states of the run have these loads: {'; '.join(listed)}{more}; {option}name one of "
        "them with --state N, or let the scan choose among them with --state best",
        key="--state",
    )


def _between_text(choice: StateChoice) -> str:
    return " to ".join(f"state {state}" for state in sorted(choice.shares))


def _option(name: str) -> str:
    """The option of the command line for a column."""
    kind = load_kind(name)
    if name == VOLUME:
        return "--volume"
    return f"--{kind.key}" if kind is not None and kind.key in ("pressure", "voltage") else ""


def _stored(run: RunRecord) -> IntArray:
    """Rows of the path whose fields were stored."""
    rows = [run.table.row_of(state) for state in sorted(run.field_files)]
    found = np.array([row for row in rows if row is not None], dtype=np.int64)
    if not len(found):
        raise InputError(f"run folder {run.path}: none of its states has loads; name one with --state N")
    return found


def load_columns(table: PathRecord, loads: Mapping[str, float]) -> dict[str, float]:
    """Return given loads by names of columns; arguments as for ``states_at``."""
    found: dict[str, float] = {}
    for name, value in loads.items():
        every = [column for column in table.loads if name == "voltage" and column.startswith("voltage ")]
        columns = [name] if name in (*table.loads, *table.quantities) else every
        if not columns:
            known = [column for column in table.loads if _option(column)]
            text = f"the run has no {name}"
            raise InputError(f"{text}; its loads are {', '.join(known or table.loads)}", key=f"--{name}")
        found |= dict.fromkeys(columns, value)
    return found


def _broken(table: PathRecord, rows: IntArray) -> list[bool]:
    """Whether the path does not continue from each stored state to the next: a jump or a branch."""
    reached = table.reached_by or ("",) * len(table)
    return [any(reached[a + 1 : b + 1]) for a, b in pairwise(rows)]


def _matches(place: FloatArray, goal: FloatArray, broken: Sequence[bool]) -> Iterator[_Match]:
    for i, x in enumerate(place):
        yield _Match(i, i, 0.0, float(np.linalg.norm(x - goal)))
    for i, cut in enumerate(broken):
        way = place[i + 1] - place[i]
        if not cut and way @ way > 0.0:
            share = float(np.clip((goal - place[i]) @ way / (way @ way), 0.0, 1.0))
            yield _Match(i, i + 1, share, float(np.linalg.norm(place[i] + share * way - goal)))


def _nearest(run: RunRecord, row: int, wanted: Mapping[str, float]) -> StateChoice:
    table, choice = run.table, named_state(run, int(run.table["state"][row]))
    off = [
        f"{name} {table.show(name, value)} (this state: {table.show(name, float(table[name][row]))}, "
        f"{table.show(name, abs(value - float(table[name][row])))} away)"
        for name, value in wanted.items()
    ]
    text = f"No state of the run has the given loads; the nearest one is used: {', '.join(off)}."
    return StateChoice(choice.shares, choice.text, (_SOLVED,), (text,))


def _between(
    run: RunRecord, rows: IntArray, key: tuple[int, int, float], loads: Sequence[str]
) -> StateChoice:
    first, second, share = key
    states = [int(state) for state in run.table["state"][rows]]
    if first == second:
        return named_state(run, states[first])
    shares = {states[first]: 1.0 - share, states[second]: share}
    ends = f"state {states[first]} ({run.table.loads_text(rows[first])}) and state {states[second]}"
    text = f"the state {100 * share:.3g} % of the way between {ends} ({run.table.loads_text(rows[second])})"
    broken = _broken(run.table, rows)
    before = first > 0 and not broken[first - 1]
    behind = second + 1 < len(rows) and not broken[second]
    chain = rows[first - before : second + 1 + behind]
    error = interpolation_error(run, chain, loads, first=int(before), share=share)
    size = "is not known, because the path has no third state" if error is None else _error_text(run, error)
    remark = f"The displacement was interpolated linearly between two states; its error {size}. {_SOLVED}"
    return StateChoice(shares, text, (remark,))


def _error_text(run: RunRecord, error: float) -> str:
    return f"is about {run.units.show('length', error, 2)} at most, judged by the curvature of the path"
