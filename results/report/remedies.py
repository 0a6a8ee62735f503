# SPDX-License-Identifier: MIT
"""What would help a part that misses requirements: states and runs near it that were solved."""

import json
import tomllib
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from annelid.results.folder.folder_files import CASE, SUMMARY
from annelid.results.folder.run_record import RunRecord
from annelid.results.folder.run_records import Verdict
from annelid.results.folder.tables import PathRecord
from annelid.solver.display import digits
from annelid.solver.model import quantities as q

_MOST_CHANGES = 3  # keys in which a neighbouring run may differ
_MOST_FOLDERS = 300
_NOT_PART = ("title", "notes", "output", "path", "requirements")


def missed_texts(run: RunRecord) -> Iterator[str]:
    """Yield a sentence for each requirement that is missed, and by how much."""
    missed = [verdict for verdict in run.verdicts if not verdict.met]
    unreached = [v.quantity for v in missed if _is_unreached(run, v)]
    if unreached:
        yield f"Requirements at the requested loads that could not be judged: {', '.join(unreached)}."
    yield from (_missed(run, verdict) for verdict in missed if not _is_unreached(run, verdict))


def _is_unreached(run: RunRecord, verdict: Verdict) -> bool:
    """Whether a requirement holds at loads that were not reached."""
    reached = run.outcome is not None and run.outcome.kind == "reached"
    is_margin = q.quantity_of(verdict.quantity) is q.STABILITY_MARGIN_OF
    return not reached and not verdict.stage and not is_margin


def _missed(run: RunRecord, verdict: Verdict) -> str:
    kind, units = q.quantity_of(verdict.quantity).kind, run.units
    limit = f"{verdict.condition} {units.show(kind, verdict.limit)}"
    name = verdict.quantity[:1].upper() + verdict.quantity[1:]
    where = f" ({verdict.where})" if verdict.where else ""
    if not np.isfinite(verdict.value):
        return f"{name}: {limit} is required, but it has no value{where}."
    short = abs(verdict.value - verdict.limit)
    share = f", {digits(100 * short / abs(verdict.limit), 2)} %" if verdict.limit else ""
    value, missing = units.show(kind, verdict.value), units.show(kind, short, 3)
    return f"{name} is {value}{where}; {limit} is required: missed by {missing}{share}."


def remedies(run: RunRecord) -> list[str]:
    """Return sentences on what would help; empty if all requirements are met.

    States of this path and other runs beside its folder were solved; nothing is extrapolated.
    """
    missed = [verdict for verdict in run.verdicts if not verdict.met]
    return [*_states(run, missed), *_runs(run)] if missed else []


def _states(run: RunRecord, missed: list[Verdict]) -> Iterator[str]:
    """Sentences on the states of the path that meet what the required state misses."""
    table = run.table
    for stage in dict.fromkeys(_stage(run, verdict) for verdict in missed):
        rows = np.array(table.stages) == stage
        required = [v for v in run.verdicts if _stage(run, v) == stage and v.quantity in table.columns]
        here = [v for v in missed if v in required]
        if not here or not rows.any():
            continue
        meeting = {v: rows & _meets(table, v) for v in required}
        together = np.logical_and.reduce(list(meeting.values()))
        if together.any():
            which = "all requirements on its states are" if required[1:] else f"{here[0].quantity} is"
            yield f"In stage “{stage}” {which} met {_range(table, together, rows)}."
            continue
        for v in required:
            if v in here or not meeting[v][rows].all():
                found = _range(table, meeting[v], rows) if meeting[v].any() else "in no state"
                yield f"In stage “{stage}” {v.quantity} {v.condition} {_limit(run, v)} is met {found}."
        if required[1:]:
            yield f"No state of stage “{stage}” meets all requirements on its states."


def _stage(run: RunRecord, verdict: Verdict) -> str:
    """The stage at whose end a requirement is to be met; the last one if it names none."""
    return verdict.stage or run.table.stages[-1]


def _limit(run: RunRecord, verdict: Verdict) -> str:
    return run.units.show(q.quantity_of(verdict.quantity).kind, verdict.limit)


def _meets(table: PathRecord, verdict: Verdict) -> NDArray[np.bool_]:
    values = table[verdict.quantity]
    with np.errstate(invalid="ignore"):
        met = values >= verdict.limit if verdict.is_lower_limit else values <= verdict.limit
    return np.asarray(met & ~np.isnan(values))


def _range(table: PathRecord, met: NDArray[np.bool_], rows: NDArray[np.bool_]) -> str:
    """The states that meet a condition, by their loads."""
    found = np.flatnonzero(met)
    first, last = int(found[0]), int(found[-1])
    of_stage = np.flatnonzero(rows)
    if len(found) == 1:
        return f"only at {table.loads_text(first)} (state {first})"
    if last - first + 1 != len(found):
        return f"in {len(found)} states between {table.loads_text(first)} and {table.loads_text(last)}"
    if first == of_stage[0]:
        return f"up to {table.loads_text(last)} (state {last})"
    if last == of_stage[-1]:
        return f"from {table.loads_text(first)} on (state {first})"
    return f"from {table.loads_text(first)} to {table.loads_text(last)} (states {first} to {last})"


class _Neighbour(NamedTuple):
    changes: int
    name: str
    text: str


def _runs(run: RunRecord) -> Iterator[str]:
    """A sentence on the run beside this one that meets all requirements with the fewest changed keys."""
    own = _case(run.path)
    if own is None:
        return
    folders = sorted(p for p in run.path.resolve().parent.iterdir() if p.is_dir())[:_MOST_FOLDERS]
    found = [n for p in folders if p != run.path.resolve() and (n := _neighbour(own, p)) is not None]
    if found:
        best = min(found)
        yield f"The run “{best.name}” beside this one meets all requirements; it differs in {best.text}."


def _neighbour(own: Mapping[str, Any], folder: Path) -> _Neighbour | None:
    """What a run changes, if it has the same requirements, meets them all, and changes little."""
    other = _case(folder)
    if other is None or other.get("requirements") != own.get("requirements") or not _works(folder):
        return None
    a, b = (dict(_leaves({k: v for k, v in case.items() if k not in _NOT_PART})) for case in (own, other))
    keys = [key for key in {**a, **b} if a.get(key) != b.get(key)]
    if not 0 < len(keys) <= _MOST_CHANGES:
        return None
    text = ", ".join(f"{key} ({_show(a.get(key))} → {_show(b.get(key))})" for key in keys)
    return _Neighbour(len(keys), folder.name, text)


def _works(folder: Path) -> bool:
    """Whether a run is finished, reached its loads and met its requirements."""
    try:
        summary = json.loads((folder / SUMMARY).read_text())
        verdicts, outcome = summary["verdicts"], summary["outcome"]
        return bool(outcome["kind"] == "reached" and verdicts and all(v["met"] for v in verdicts))
    except (OSError, ValueError, LookupError, TypeError):
        return False


def _case(folder: Path) -> dict[str, Any] | None:
    """The resolved case of a Run folder; ``None`` if it cannot be read."""
    try:
        return tomllib.loads((folder / CASE).read_text())
    except (OSError, ValueError):
        return None


def _leaves(value: Any, key: str = "") -> Iterator[tuple[str, Any]]:
    """Values of nested tables by path; entries of lists of tables by their name or region."""
    if isinstance(value, Mapping):
        for name, member in value.items():
            yield from _leaves(member, f"{key}.{name}" if key else name)
    elif isinstance(value, list) and value and all(isinstance(member, Mapping) for member in value):
        for number, member in enumerate(value):
            yield from _leaves(member, f"{key}.{member.get('name') or member.get('region') or number}")
    else:
        yield key, value


def _show(value: Any) -> str:
    return "none" if value is None else digits(value, 4) if isinstance(value, float) else str(value)
