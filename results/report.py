# SPDX-License-Identifier: MIT
"""The report of a run: one page without external files, made from the Run folder alone."""

import re
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import numpy as np

from geometry.errors import InputError
from results.atomic import write_atomically
from results.case_words import case_in_words
from results.folder_files import REPORT
from results.pages import render
from results.records import Verdict
from results.report_pictures import curves, mode_pictures, pictures, shapes
from results.run_record import RunRecord, open_run
from results.safety import CAUTIONS, CURRENT_NOTE, LIMITS, stored_charge
from results.stability import legend, slack, stability
from results.tables import PathTable
from results.trade_units import digits, display, show

_TONES = {
    "reached": "good",
    "lost stability": "warn",
    "limit point": "warn",
    "bifurcation": "warn",
    "no equilibrium": "bad",
}
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
        "pictures": drawn[0],
        "picture_note": drawn[1],
        "curves": [] if table is None else curves(table, run.verdicts),
        "marks": legend(table, run.verdicts),
        "stability": {"paragraphs": [], "rows": [], "columns": {}} if table is None else stability(run),
        "modes": mode_pictures(run) if with_pictures and drawn[0] else [],
        "slack": "" if table is None else slack(table),
        "shapes": [] if table is None else shapes(run),
        "quantities": [] if table is None else _quantity_rows(table, known) + _margin_rows(run, known),
        "facts": _fact_groups(run.summary.get("facts", {})),
        "states": _state_table(table),
        "provenance": {
            key.replace("_", " "): _fact(value)
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
        text = f"The run is unfinished: {states} state(s) so far. What follows may change."
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
    return [{"name": name, "value": show(name, float(table[name][-1]), table.units[name])} for name in names]


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
                "last": show(name, float(values[-1]), table.units[name]),
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


def _fact_groups(facts: Mapping[str, Any]) -> list[dict[str, Any]]:
    """Arrange facts as groups of pairs or as small tables, whichever they are."""
    plain = {name: value for name, value in facts.items() if not _is_group(value)}
    groups: list[dict[str, Any]] = [_pairs_group("Run", plain)] if plain else []
    for name, value in facts.items():
        if isinstance(value, Mapping):
            groups.append(_pairs_group(name, value))
        elif _is_group(value):
            columns = list(dict.fromkeys(key for row in value for key in row))
            rows = [[_fact(row.get(key, "")) for key in columns] for row in value]
            groups.append({"heading": name, "columns": columns, "rows": rows, "pairs": {}})
    return groups


def _is_group(value: Any) -> bool:
    return isinstance(value, Mapping) or (
        isinstance(value, list | tuple) and bool(value) and all(isinstance(row, Mapping) for row in value)
    )


def _pairs_group(heading: str, values: Mapping[str, Any]) -> dict[str, Any]:
    return {
        "heading": heading,
        "pairs": {name: _fact(value) for name, value in values.items()},
        "columns": [],
        "rows": [],
    }


def _fact(value: Any) -> str:
    match value:
        case bool():
            return "yes" if value else "no"
        case float():
            return digits(value)
        case Mapping():
            return ", ".join(f"{key} {_fact(member)}" for key, member in value.items())
        case list() | tuple():
            return ", ".join(map(_fact, value))
        case _:
            return str(value)


def _state_table(table: PathTable | None) -> dict[str, Any]:
    """One row a state: the loads and how well it converged."""
    if table is None:
        return {"columns": [], "rows": []}
    technical = ("iterations", "residual", "factorisations", "unstable modes", "unstable modes under control")
    names = ["parameter", *table.loads, *technical]
    shown = {n: display(n, table.units[n], float(np.nanmax(np.abs(table[n]), initial=0.0))) for n in names}
    texts = {"critical": table.critical, "reached by": table.reached_by}
    texts = {name: column for name, column in texts.items() if any(column)}
    columns = ["state", "stage", *texts]
    columns += [n + (f" [{shown[n].unit}]" if shown[n].unit else "") for n in names]
    rows = []
    for i, stage in enumerate(table.stages):
        cells = [
            f"{table['residual'][i]:.1e}" if n == "residual" else _cell(table, n, i, shown[n].factor)
            for n in names
        ]
        said = [column[i] for column in texts.values()]
        rows.append([digits(float(table["state"][i])), stage, *said, *cells])
    return {"columns": columns, "rows": rows}


def _cell(table: PathTable, name: str, row: int, factor: float) -> str:
    return digits(float(table[name][row]) * factor)
