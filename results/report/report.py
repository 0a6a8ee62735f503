# SPDX-License-Identifier: MIT
"""The report of a run: one page without external files, created from the Run folder alone."""

import math
import os
import shlex
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from annelid.geometry.meshing.quality import LOW_SCALED_JACOBIAN
from annelid.results.animation.animate import Animation
from annelid.results.atomic import write_atomically
from annelid.results.evidence.evidence import evidence_of, find_verification
from annelid.results.folder.folder_files import ANIMATION, PATH, REPORT, end_reason, remove
from annelid.results.folder.run_record import RunRecord, open_run
from annelid.results.folder.run_records import NOT_JUDGED, Verdict
from annelid.results.folder.tables import PathRecord
from annelid.results.pages.render import render
from annelid.results.report.cycle_section import cycle_section, path_values
from annelid.results.report.facts import fact_groups, fact_text, state_table
from annelid.results.report.first_limits import first_limit, limit_rows
from annelid.results.report.lumen_text import lumen_text
from annelid.results.report.making_text import making
from annelid.results.report.moving_picture import moving_picture, report_animation
from annelid.results.report.pictures import curves, mode_pictures, pictures, rest_pictures
from annelid.results.report.remedies import missed_texts, remedies
from annelid.results.report.safety import CAUTIONS, CURRENT_NOTE, LIMITS, stored_charge
from annelid.results.report.shape_figures import shapes
from annelid.results.report.snap_text import bistability_text
from annelid.results.report.stability import compressed_wall_text, legend, slack_wall_text, stability
from annelid.results.verification.record import TOO_CLOSE
from annelid.results.verification.shown import shown_bar
from annelid.solver.display import DisplayUnits, capitalised, counted, digits
from annelid.solver.model import quantities as q
from annelid.solver.model.quantity import Quantity

_MAIN = (
    q.MEAN_RADIAL_EXPANSION,
    q.AXIAL_SHORTENING,
    q.PEAK_STRESS,
    q.BREAKDOWN_MARGIN,
    q.TEARING_MARGIN,
    q.LUMEN_VOLUME,
)
_ANSWERS = {
    "failure": "Does not work as required",
    "warning": "Works as required in this calculation, with doubts",
    "success": "Works as required in this calculation",
}
_NO_REQUIREMENT = "Reached the requested loads; the case has no requirements"
_ROUNDING = 1e-7  # of the largest value along the path; the tolerance of equilibrium is 1e-8
_PROVENANCE_HIDDEN = {"kind", "format", "files"}


def write_report(
    path: Path | str,
    *,
    with_pictures: bool = True,
) -> Path:
    """Write ``report.html`` into a Run folder, finished or not, and ``animation.gif`` if time passes in it.

    Args:
        path: The Run folder.
        with_pictures: Whether to render 3-D pictures and the animation.

    Returns:
        Path of the page.

    Raises:
        InputError: The folder contains no run, or one of its files is damaged.
    """
    run = open_run(path)
    moving = report_animation(run) if with_pictures else None
    if moving is None:
        remove(run.path / ANIMATION)
    else:
        write_atomically(run.path / ANIMATION, moving.content)
    page = render("report.html", _content(run, with_pictures, moving))
    return write_atomically(run.path / REPORT, page)


def _content(run: RunRecord, with_pictures: bool, moving: Animation | None) -> dict[str, Any]:
    table = run.table if os.path.lexists(run.path / PATH) else None
    description = run.description
    state_pictures, picture_note = pictures(run) if with_pictures and table is not None else ([], "")
    return {
        "title": run.title,
        "notes": description.notes,
        "outcome": outcome_of(run, table),
        "verdicts": _verdict_rows(run),
        "evidence": evidence_of(
            run.path,
            run.provenance["case_hash"],
            description.features,
            [*description.not_judged, *_doubts(run, table)],
            version=str(run.provenance.get("program", "")).removeprefix("annelid "),
        ),
        "statements": [s for s in description.statements if s.heading != NOT_JUDGED],
        "tiles": [] if table is None else _tiles(run),
        "making": {"columns": [], "rows": [], "paragraphs": []} if table is None else making(run),
        "moving": [] if moving is None else [moving_picture(run, moving)],
        "pictures": state_pictures,
        "picture_note": picture_note,
        "curves": [] if table is None else curves(table, run.verdicts),
        "legend": legend(table, run.verdicts),
        "stability": {"paragraphs": [], "rows": [], "columns": {}} if table is None else stability(run),
        "modes": mode_pictures(run) if with_pictures and state_pictures else [],
        "rests": rest_pictures(run) if with_pictures and state_pictures else [],
        "compressed": "" if table is None else compressed_wall_text(table),
        "slack": "" if table is None else slack_wall_text(table),
        "lumen": "" if table is None else lumen_text(table, run.outcome),
        "cycle": {"paragraphs": [], "figures": []} if table is None else cycle_section(run),
        "shapes": [] if table is None else shapes(run),
        "quantities": [] if table is None else _quantity_rows(table) + _other_rows(run),
        "facts": fact_groups(run.summary.get("facts", {})),
        "states": state_table(table),
        "provenance": {
            key.replace("_", " "): shlex.join(value) if key == "command" else fact_text(value)
            for key, value in run.provenance.items()
            if key not in _PROVENANCE_HIDDEN
        },
        "stored": None if table is None else stored_charge(table),
        "cautions": CAUTIONS,
        "limits": LIMITS,
        "current_note": CURRENT_NOTE,
    }


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
    doubts = list(_doubts(run, table))
    tone = "failure" if failures else "warning" if doubts else "success"
    return {
        "tone": tone,
        "kind": _ANSWERS[tone] if run.verdicts or failures else _NO_REQUIREMENT,
        "text": capitalised(outcome.text),
        "reasons": [*failures, *doubts],
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


def _doubts(run: RunRecord, table: PathRecord | None) -> Iterator[str]:
    """Why the model may differ from a real part."""
    for limit in q.LIMITS:
        if _is_below_one(table, limit.least) and not _is_below_one(table, limit.margin):
            yield f"At the most loaded point {limit.exceeded} in some states."
    if table is not None and compressed_wall_text(table):
        yield "A part of the wall is in more compression in its plane than it carries; it may wrinkle there."
    jacobian = run.summary.get("facts", {}).get("mesh", {}).get("minimum scaled Jacobian", 1.0)
    if jacobian < LOW_SCALED_JACOBIAN:
        text = f"(scaled Jacobian {digits(jacobian, 2)})"
        yield f"The mesh has distorted cells {text}, whose values are less accurate."
    found = find_verification(run.path, run.provenance["case_hash"])
    for verdict in found.verdicts if found is not None else ():
        if verdict.answer == TOO_CLOSE:
            yield f"The limit of {verdict.quantity} lies within the error bar of its value: {TOO_CLOSE}."
    if run.outcome is not None and any("approximate" in remark for remark in run.outcome.remarks):
        yield "The numbers of unstable modes are approximate."


def _is_below_one(table: PathRecord | None, margin: Quantity) -> bool:
    margins = np.ones(0) if table is None else table.columns.get(margin.name, np.ones(0))
    return bool(np.nanmin(margins, initial=1.0) < 1.0)


def _verdict_rows(run: RunRecord) -> list[dict[str, Any]]:
    """The verdicts; with error bars, some may be too close to call."""
    found = find_verification(run.path, run.provenance["case_hash"])
    barred = found.verdicts if found is not None else ()
    if len(barred) != len(run.verdicts):
        return [_verdict_row(verdict, math.nan, run.units) for verdict in run.verdicts]
    return [_verdict_row(v, b.half_width, run.units) for v, b in zip(run.verdicts, barred, strict=True)]


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


def _tiles(run: RunRecord) -> list[dict[str, str]]:
    """Required quantities at the states at which they are required, then main ones in the working state."""
    tiles: dict[tuple[str, str], str] = {}
    for verdict in run.verdicts:
        if not math.isnan(verdict.value):
            value = run.units.show(q.quantity_of(verdict.quantity).kind, verdict.value)
            tiles.setdefault(
                (verdict.quantity, verdict.where), ("at least " if verdict.is_bound else "") + value
            )
    entries = [{"name": name, "value": value, "where": where} for (name, where), value in tiles.items()]
    names = {entry["name"] for entry in entries}
    table = run.table
    row = table.row_of(run.working_state)
    assert row is not None
    if table.stages[row] in {window.stage for window in run.description.cycles}:
        where = f"in stage '{table.stages[row]}' at {table.show(q.TIME.name, float(table[q.TIME.name][row]))}"
    elif row == len(table) - 1:
        where = "at the last state"
    else:
        where = f"at the end of stage '{table.stages[row]}'"
    for quantity in _MAIN:
        if quantity.name in table.quantities and quantity.name not in names:
            number = _without_rounding(table[quantity.name], row)
            if math.isfinite(number):
                shown = table.show(quantity.name, number)
                entries.append({"name": quantity.name, "value": shown, "where": where})
    return entries[:4]


def _without_rounding(values: NDArray[np.float64], row: int = -1) -> float:
    """The value of a row; zero if it is only rounding."""
    largest = float(np.abs(values[np.isfinite(values)]).max(initial=0.0))
    return 0.0 if abs(values[row]) <= _ROUNDING * largest else float(values[row])


def _quantity_rows(table: PathRecord) -> list[dict[str, str]]:
    rows = []
    for name in table.quantities:
        values = table[name]
        defined = values[~np.isnan(values)]
        low, high = (defined.min(), defined.max()) if defined.size else (np.nan, np.nan)
        extremes = {
            "last": table.show(name, _without_rounding(values)),
            "low": table.show(name, float(low)),
            "high": table.show(name, float(high)),
        }
        rows.append({"name": name, **extremes, **_definition(name)})
    return rows


def _other_rows(run: RunRecord) -> list[dict[str, str]]:
    """Stability margins and quantities of the whole path, which have no lowest and highest value."""
    margins = run.outcome.margins if run.outcome else ()
    shown = {m.quantity: ("at least " if m.is_bound else "") + digits(m.value) for m in margins}
    shown |= path_values(run)
    return [{"name": n, "last": value, "low": "", "high": "", **_definition(n)} for n, value in shown.items()]


def _definition(name: str) -> dict[str, str]:
    quantity = q.quantity_of(name)
    return {"formula": quantity.formula, "meaning": quantity.meaning}
