# SPDX-License-Identifier: MIT
"""The answer of a report: whether the part works as required, the doubts about it, and the verdicts."""

import math
from collections.abc import Iterator
from typing import Any

import numpy as np

from annelid.geometry.meshing.quality import LOW_SCALED_JACOBIAN
from annelid.results.evidence.evidence import find_verification
from annelid.results.folder.folder_files import end_reason
from annelid.results.folder.run_record import RunRecord
from annelid.results.folder.run_records import Verdict
from annelid.results.folder.tables import PathRecord
from annelid.results.report.first_limits import first_limit, limit_rows
from annelid.results.report.remedies import missed_texts, remedies
from annelid.results.report.snap_text import bistability_text
from annelid.results.report.stability import compressed_wall_text
from annelid.results.verification.adaptation import adaptation_of
from annelid.results.verification.record import TOO_CLOSE
from annelid.results.verification.shown import shown_bar
from annelid.solver.display import DisplayUnits, capitalised, counted, digits
from annelid.solver.model import quantities as q
from annelid.solver.model.quantity import Quantity

__all__ = ["doubts", "outcome_of", "verdict_rows"]

_ANSWERS = {
    "failure": "Does not work as required",
    "warning": "Works as required in this calculation, with doubts",
    "success": "Works as required in this calculation",
}
_NO_REQUIREMENT = "Reached the requested loads; the case has no requirements"


def outcome_of(run: RunRecord, table: PathRecord | None) -> dict[str, Any]:
    """Return the content of the banner of a page: how the run ended, and why it may not be relied upon."""
    outcome = run.outcome
    more = {
        "bistability": "" if table is None else bistability_text(run),
        "first_limit": first_limit(outcome),
        "limits": limit_rows(outcome),
        "remedies": [] if table is None else remedies(run),
        "not_judged": run.description.not_judged,
        "working_stage": outcome.working_stage if outcome is not None else "",
    }
    if outcome is None:
        states = 0 if table is None else len(table)
        reason = end_reason(run.path)
        end = f"It ended unfinished: {reason}." if reason else "The results may change."
        text = f"The run is not finished; {counted(states, 'state')} so far. {end}"
        return {"tone": "warning", "kind": "unfinished", "text": text, "reasons": (), "remarks": (), **more}
    failures = list(_failures(run, table))
    doubtful = [*_instabilities(table), *doubts(run, table)]
    tone = "failure" if failures else "warning" if doubtful else "success"
    return {
        "tone": tone,
        "kind": _ANSWERS[tone] if run.verdicts or failures else _NO_REQUIREMENT,
        "text": capitalised(outcome.text),
        "reasons": [*failures, *doubtful],
        "remarks": outcome.remarks,
        **more,
    }


def _failures(run: RunRecord, table: PathRecord | None) -> Iterator[str]:
    """Why a part as computed does not do what is required of it."""
    if run.outcome is not None and run.outcome.kind != "reached":
        yield "The requested loads were not reached."
    yield from missed_texts(run)
    for limit in q.LIMITS:
        if _is_below_one(table, limit.margin):
            yield f"{capitalised(limit.exceeded)} in some states."


def _instabilities(table: PathRecord | None) -> Iterator[str]:
    """That the path contains states in which the part would not stay."""
    if table is not None and table.unstable_under_control.any():
        number = counted(int(table.unstable_under_control.sum()), "state")
        yield f"{capitalised(number)} of the path cannot be kept: the part is unstable there."


def doubts(run: RunRecord, table: PathRecord | None) -> Iterator[str]:
    """Yield why the model may differ from a real part, in sentences."""
    for limit in q.LIMITS:
        if _is_below_one(table, limit.least) and not _is_below_one(table, limit.margin):
            yield f"At the most loaded point {limit.exceeded} in some states."
    if table is not None and compressed_wall_text(table):
        yield "A part of the wall is in more compression in its plane than it carries; it may wrinkle there."
    jacobian = run.summary.get("facts", {}).get("mesh", {}).get("minimum scaled Jacobian", 1.0)
    if jacobian < LOW_SCALED_JACOBIAN:
        text = f"(scaled Jacobian {digits(jacobian, 2)})"
        yield f"The mesh has distorted cells {text}, whose values are less accurate."
    for verdict, half_width in zip(run.verdicts, _half_widths(run), strict=True):
        if abs(verdict.value - verdict.limit) <= half_width:
            yield f"The limit of {verdict.quantity} lies within the error bar of its value: {TOO_CLOSE}."
    chosen = adaptation_of(run.summary)
    if chosen is not None and not chosen.reached:
        yield f"{chosen.text[0].upper()}{chosen.text[1:]}."
    if run.outcome is not None and any("approximate" in remark for remark in run.outcome.remarks):
        yield "The numbers of unstable modes are approximate."


def _is_below_one(table: PathRecord | None, margin: Quantity) -> bool:
    margins = np.ones(0) if table is None else table.columns.get(margin.name, np.ones(0))
    return bool(np.nanmin(margins, initial=1.0) < 1.0)


def verdict_rows(run: RunRecord) -> list[dict[str, Any]]:
    """Return the rows of the table of verdicts; with error bars, some may be too close to call."""
    return [_verdict_row(v, half, run.units) for v, half in zip(run.verdicts, _half_widths(run), strict=True)]


def _half_widths(run: RunRecord) -> list[float]:
    """Half widths of the error bars of the verdicts: of a verification, else as estimated with the mesh."""
    found = find_verification(run.path, run.provenance["case_hash"])
    if found is not None and len(found.verdicts) == len(run.verdicts):
        return [barred.half_width for barred in found.verdicts]
    chosen = adaptation_of(run.summary)
    if chosen is None:
        return [math.nan] * len(run.verdicts)
    last = "" if run.outcome is None else run.outcome.stage
    bars = {(q.quantity, q.stage): q.bar for q in chosen.quantities}
    return [bars.get((v.quantity, v.stage or last), math.nan) for v in run.verdicts]


def _verdict_row(verdict: Verdict, half_width: float, units: DisplayUnits) -> dict[str, Any]:
    kind = q.quantity_of(verdict.quantity).kind
    tone, answer = ("success", "✓ met") if verdict.met else ("failure", "✗ not met")
    if abs(verdict.value - verdict.limit) <= half_width:
        tone, answer = "warning", f"≈ {TOO_CLOSE}"
    return {
        "quantity": verdict.quantity,
        "condition": f"{verdict.condition} {units.show(kind, verdict.limit)}",
        "value": ("at least " if verdict.is_bound else "")
        + shown_bar(kind, verdict.value, half_width, units),
        "tone": tone,
        "answer": answer,
        "where": verdict.where,
    }
