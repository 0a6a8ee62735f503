# SPDX-License-Identifier: MIT
"""The report of a run: one page without external files, made from the Run folder alone."""

import re
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from annelid.geometry.errors import InputError
from annelid.results.atomic import write_atomically
from annelid.results.display_units import counted, show
from annelid.results.folder.folder_files import REPORT
from annelid.results.folder.records import Verdict
from annelid.results.folder.run_record import RunRecord, open_run
from annelid.results.folder.tables import PathTable
from annelid.results.pages.render import render
from annelid.results.report.case_summary import case_in_words
from annelid.results.report.facts import fact, fact_groups, state_table
from annelid.results.report.making import making
from annelid.results.report.pictures import curves, mode_pictures, pictures, shapes
from annelid.results.report.safety import CAUTIONS, CURRENT_NOTE, LIMITS, stored_charge
from annelid.results.report.stability import legend, slack, stability

_TONES = {
    "reached": "good",
    "lost stability": "warn",
    "limit point": "warn",
    "bifurcation": "warn",
    "no equilibrium": "bad",
}
_ROUNDING = 1e-7  # of the largest value along the path; states are in balance to 1e-8
_PROVENANCE_HIDDEN = {"kind", "format"}


def write_report(
    path: Path | str,
    *,
    definitions: Mapping[str, Mapping[str, str]] | None = None,
    with_pictures: bool = True,
) -> Path:
    """Write ``report.html`` into a Run folder, finished or not.

    Args:
        path: The Run folder.
        definitions: By quantity: texts under ``"unit"``, ``"formula"``, ``"meaning"``, ``"reference"``;
            by default those kept in the folder.
        with_pictures: Whether to draw 3-D pictures.

    Returns:
        Path of the page.

    Raises:
        InputError: There is no run in the folder, or it holds no equilibrium.
    """
    run = open_run(path)
    page = render("report.html", _content(run, definitions, with_pictures))
    return write_atomically(run.path / REPORT, page)


def _content(
    run: RunRecord, definitions: Mapping[str, Mapping[str, str]] | None, with_pictures: bool
) -> dict[str, Any]:
    known = run.summary.get("definitions", {}) if definitions is None else definitions
    table = _table_or_none(run)
    drawn = pictures(run) if with_pictures and table is not None else ([], "")
    return {
        "title": run.title,
        "notes": str(run.case.get("notes", "")),
        "outcome": _outcome(run, table),
        "verdicts": [_verdict_row(verdict) for verdict in run.verdicts],
        "statements": case_in_words(run.case),
        "tiles": [] if table is None else _tiles(table, run.verdicts),
        "making": {"columns": [], "rows": [], "paragraphs": []} if table is None else making(run),
        "pictures": drawn[0],
        "picture_note": drawn[1],
        "curves": [] if table is None else curves(table, run.verdicts),
        "marks": legend(table, run.verdicts),
        "stability": {"paragraphs": [], "rows": [], "columns": {}} if table is None else stability(run),
        "modes": mode_pictures(run) if with_pictures and drawn[0] else [],
        "slack": "" if table is None else slack(table),
        "shapes": [] if table is None else shapes(run),
        "quantities": [] if table is None else _quantity_rows(table, known) + _margin_rows(run, known),
        "facts": fact_groups(run.summary.get("facts", {})),
        "states": state_table(table),
        "provenance": {
            key.replace("_", " "): fact(value)
            for key, value in run.provenance.items()
            if key not in _PROVENANCE_HIDDEN
        },
        "stored": None if table is None else stored_charge(table),
        "cautions": CAUTIONS,
        "limits": LIMITS,
        "current_note": CURRENT_NOTE,
    }


def _table_or_none(run: RunRecord) -> PathTable | None:
    try:
        return run.table
    except InputError:
        return None


def _outcome(run: RunRecord, table: PathTable | None) -> dict[str, Any]:
    outcome = run.outcome
    if outcome is None:
        states = 0 if table is None else len(table)
        text = f"The run is unfinished: {counted(states, 'state')} so far. What follows may change."
        return {"tone": "warn", "word": "unfinished", "text": text, "remarks": ()}
    missed = sum(not verdict.met for verdict in run.verdicts)
    text = outcome.text.removeprefix(f"{outcome.kind}: ")
    tone = _TONES.get(outcome.kind, "warn")
    return {
        "tone": "bad" if missed and tone == "good" else tone,
        "word": outcome.kind,
        "text": text[:1].upper() + text[1:],
        "remarks": outcome.remarks,
    }


def _verdict_row(verdict: Verdict) -> dict[str, Any]:
    condition = verdict.condition
    if not re.search(r"\d", condition):
        condition = f"{condition} {show(verdict.quantity, verdict.limit, verdict.unit)}"
    return {
        "quantity": verdict.quantity,
        "condition": condition,
        "value": ("at least " if verdict.is_bound else "")
        + show(verdict.quantity, verdict.value, verdict.unit),
        "met": verdict.met,
        "where": verdict.where,
    }


def _tiles(table: PathTable, verdicts: Sequence[Verdict]) -> list[dict[str, str]]:
    """The last values of the few quantities that matter most."""
    wanted = [v.quantity for v in verdicts]
    wanted += ["mean radial expansion", "axial shortening", "peak stress", "breakdown margin", "lumen volume"]
    names = [name for name in dict.fromkeys(wanted) if name in table.quantities][:4]
    return [{"name": name, "value": show(name, _last(table[name]), table.units[name])} for name in names]


def _last(values: NDArray[np.float64]) -> float:
    """The last value; zero where nothing but rounding is left of what was there."""
    largest = float(np.abs(values[np.isfinite(values)]).max(initial=0.0))
    return 0.0 if abs(values[-1]) <= _ROUNDING * largest else float(values[-1])


def _quantity_rows(table: PathTable, definitions: Mapping[str, Mapping[str, str]]) -> list[dict[str, str]]:
    rows = []
    for name in table.quantities:
        values = table[name]
        said = values[~np.isnan(values)]
        low, high = (said.min(), said.max()) if said.size else (np.nan, np.nan)
        definition = _definition(name, definitions)
        rows.append(
            {
                "name": name,
                "last": show(name, _last(values), table.units[name]),
                "low": show(name, float(low), table.units[name]),
                "high": show(name, float(high), table.units[name]),
                "formula": definition.get("formula", ""),
                "meaning": definition.get("meaning", ""),
                "reference": definition.get("reference", ""),
            }
        )
    return rows


def _margin_rows(run: RunRecord, definitions: Mapping[str, Mapping[str, str]]) -> list[dict[str, str]]:
    """Margins stand for the end of the path: they have no lowest and highest value."""
    rows = []
    for margin in run.outcome.margins if run.outcome else ():
        value = ("at least " if margin.is_bound else "") + show(margin.quantity, margin.value, "1")
        definition = _definition(margin.quantity, definitions)
        texts = {key: definition.get(key, "") for key in ("formula", "meaning", "reference")}
        rows.append({"name": margin.quantity, "last": value, "low": "", "high": "", **texts})
    return rows


def _definition(name: str, definitions: Mapping[str, Mapping[str, str]]) -> Mapping[str, str]:
    """Find the definition of a quantity; names such as ``charge <electrode>`` stand for many."""
    if name in definitions:
        return definitions[name]
    for pattern, definition in definitions.items():
        parts = re.split(r"<[^>]*>", pattern)
        if len(parts) > 1 and re.fullmatch(".+".join(map(re.escape, parts)), name):
            return definition
    return {}
