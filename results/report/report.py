# SPDX-License-Identifier: MIT
"""The report of a run: one page without external files, created from the Run folder alone."""

import math
import os
import shlex
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from annelid.results.animation.animate import Animation
from annelid.results.atomic import write_atomically
from annelid.results.evidence.evidence import Evidence, evidence_of
from annelid.results.folder.folder_files import ANIMATION, PATH, REPORT, remove
from annelid.results.folder.run_record import RunRecord, open_run
from annelid.results.folder.run_records import NOT_JUDGED
from annelid.results.folder.tables import PathRecord
from annelid.results.pages.render import render
from annelid.results.report.answer import doubts, outcome_of, verdict_rows
from annelid.results.report.curves import curves
from annelid.results.report.cycle_section import cycle_section, path_values
from annelid.results.report.facts import fact_groups, fact_text, state_table
from annelid.results.report.lumen_text import lumen_text
from annelid.results.report.making_text import making
from annelid.results.report.mesh_choice import mesh_choice
from annelid.results.report.moving_picture import moving_picture, report_animation
from annelid.results.report.pictures import mode_pictures, pictures, rest_pictures
from annelid.results.report.safety import CAUTIONS, CURRENT_NOTE, LIMITS, stored_charge
from annelid.results.report.shape_figures import shapes
from annelid.results.report.stability import compressed_wall_text, legend, slack_wall_text, stability
from annelid.results.verification.adaptation import adaptation_of
from annelid.solver.display import digits
from annelid.solver.model import quantities as q

_MAIN = (
    q.MEAN_RADIAL_EXPANSION,
    q.AXIAL_SHORTENING,
    q.PEAK_STRESS,
    q.BREAKDOWN_MARGIN,
    q.TEARING_MARGIN,
    q.LUMEN_VOLUME,
)
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
        "verdicts": verdict_rows(run),
        "evidence": _evidence(run, table),
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
        "mesh_choice": mesh_choice(run),
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


def _evidence(run: RunRecord, table: PathRecord | None) -> tuple[Evidence, ...]:
    return evidence_of(
        run.path,
        run.provenance["case_hash"],
        run.description.features,
        [*run.description.not_judged, *doubts(run, table)],
        version=str(run.provenance.get("program", "")).removeprefix("annelid "),
        adaptation=adaptation_of(run.summary),
    )


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
