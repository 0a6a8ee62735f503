# SPDX-License-Identifier: MIT
"""Lists of runs for the command line: their estimated cost, their states, and what they missed."""

import os
from collections import Counter
from collections.abc import Sequence

from annelid.cases.studies.estimate import estimate_cost
from annelid.cases.studies.plan import Plan
from annelid.cases.studies.store import Store
from annelid.cases.studies.table import ALL_REQUIREMENTS_MET, REQUIREMENTS_MISSED, Row
from annelid.solver.display import counted

__all__ = ["dry_run_lines", "missed_lines", "status_lines"]

_MAX_LINES, _MAX_MISSED = 200, 20


def dry_run_lines(plan: Plan, store: Store, workers: int) -> list[str]:
    """The runs with their sizes, and the estimated cost of those that are not done."""
    expected = estimate_cost(plan, store)
    states = [store.state(run) for run in plan.runs]
    names = [variable.name for variable in plan.variables]
    rows = [["run", *names, "unknowns", "state"]]
    for run, count, state in zip(plan.runs, expected.unknowns, states, strict=True):
        shown = state if run.toml else "impossible"
        rows.append([run.id, *(str(run.values[name]) for name in names), str(count or "–"), shown])
    waiting = [i for i, state in enumerate(states) if state == "waiting"]
    points, runs = len(plan.run_of_point), len(plan.runs)
    same = f", {points - runs} of them duplicates" if points > runs else ""
    kinds = counted(len({run.kind for run in plan.runs if run.toml}), "kind")
    workers = workers or max(1, len(os.sched_getaffinity(0)) // plan.max_ranks)
    return [
        *_aligned(rows),
        "",
        f"{points} points{same}; {runs} runs, {len(waiting)} to do; {kinds} of equations to compile",
        *(f"{run.id}: {run.problem}" for run in plan.runs if not run.toml),
        *expected.lines(waiting, workers),
    ]


def status_lines(plan: Plan, store: Store) -> list[str]:
    """The states of the runs, from their folders."""
    states = {run.id: store.state(run) for run in plan.runs}
    count = Counter(states.values())
    parts = [
        f"{count[state]} {state}" for state in ("finished", "running", "failed", "waiting") if count[state]
    ]
    interrupted = sum(states[run.id] == "waiting" and store.was_interrupted(run) for run in plan.runs)
    lines = [f"{plan.file.study.title}: {len(plan.runs)} runs", f"in {store.path}: {', '.join(parts)}"]
    if interrupted:
        lines.append(f"{interrupted} of the waiting runs were interrupted; they will start again")
    for run in plan.runs:
        if states[run.id] == "running":
            holder = store.lock_holder(run) or {}
            lines.append(f"{run.id}: running as process {holder.get('pid')} on {holder.get('host')}")
    failures = [(run, store.failure(run)) for run in plan.runs if states[run.id] == "failed"]
    lines += [f"{run.id}: {f.kind}: {f.reason}" for run, f in failures[:_MAX_LINES] if f]
    return lines


def missed_lines(rows: Sequence[Row]) -> list[str]:
    """How many runs meet all requirements, and which requirements each other run missed."""
    judged = [row for row in rows if ALL_REQUIREMENTS_MET in row]
    missed = [row for row in judged if not row[ALL_REQUIREMENTS_MET]]
    if not missed:
        return []
    lines = [f"requirements: {len(judged) - len(missed)} of {len(judged)} runs meet all of them"]
    lines += [f"{row['run']} misses {row[REQUIREMENTS_MISSED]}" for row in missed[:_MAX_MISSED]]
    more = len(missed) - _MAX_MISSED
    return [*lines, f"… and {more} more, see the table"] if more > 0 else lines


def _aligned(rows: list[list[str]]) -> list[str]:
    widths = [max(map(len, cells)) for cells in zip(*rows, strict=True)]
    shown = rows[: _MAX_LINES + 1]
    lines = ["  ".join(c.ljust(w) for c, w in zip(row, widths, strict=True)).rstrip() for row in shown]
    return [*lines, f"… and {len(rows) - len(shown)} more"] if len(rows) > len(shown) else lines
