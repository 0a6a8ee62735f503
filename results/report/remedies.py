# SPDX-License-Identifier: MIT
"""What would help a part that misses requirements: states and runs near it that were solved."""

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from annelid.results.folder.run_record import RunRecord
from annelid.results.folder.run_records import Verdict
from annelid.results.folder.tables import PathRecord
from annelid.results.report.neighbours import neighbour_that_works
from annelid.solver.display import digits
from annelid.solver.model import quantities as q


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
    if not missed:
        return []
    return [*_states(run, missed), *filter(None, [neighbour_that_works(run.path)])]


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
