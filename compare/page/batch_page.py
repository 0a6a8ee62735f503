# SPDX-License-Identifier: MIT
"""The page about several scans that were compared with the same run."""

from collections.abc import Mapping, Sequence
from typing import Any, NamedTuple

import numpy as np

from annelid.compare.comparison.compared import Comparison
from annelid.compare.comparison.files import PAGE
from annelid.compare.comparison.limits import RULE, Judgement
from annelid.compare.deviation.quantities import Uncertain
from annelid.compare.deviation.quantity_names import unit_of
from annelid.compare.page.words import CAUTIONS, doubts, shown_in, verdict_row, with_error
from annelid.results.folder.run_record import RunRecord
from annelid.results.pages.render import render
from annelid.results.report.safety import CAUTIONS as GENERAL_CAUTIONS
from annelid.solver.display import DisplayUnit, counted, digits


class ScanEntry(NamedTuple):
    """What the page says about a scan.

    Attributes:
        name: Name of its folder.
        surface: Name of the simulated surface.
        state: The state that it was compared with.
        measures: Quantities with uncertainty by name.
        verdicts: Which limits they keep.
        doubts: What to know before the numbers are used.
    """

    name: str
    surface: str
    state: str
    measures: Mapping[str, Uncertain]
    verdicts: tuple[Judgement, ...]
    doubts: tuple[str, ...]


def entry_of(name: str, compared: Comparison) -> ScanEntry:
    """Return the entry of a comparison in the folder of this name."""
    part = compared.part
    said = (part.surface.name, part.choice.text, compared.measures, compared.verdicts)
    return ScanEntry(name, *said, tuple(doubts(compared)))


def batch_page(run: RunRecord, entries: Sequence[ScanEntry]) -> str:
    """Return the page with the measures and verdicts of several scans, their mean and their spread."""
    text = (
        "Spread is the standard deviation of the values of the scans. How far it comes from the parts and "
        "how far from the measurement can only be found from repeated scans of one part."
    )
    states = list(dict.fromkeys(entry.state for entry in entries))
    # A doubt about all scans is said once.
    common = [d for d in entries[0].doubts if all(d in entry.doubts for entry in entries)]
    reasons = [f"All: {doubt}" for doubt in common] + [
        f"Scan {entry.name}: {doubt}" for entry in entries for doubt in entry.doubts if doubt not in common
    ]
    missing = [
        f"Scan {entry.name} does not meet {counted(missed, 'requirement')}."
        for entry in entries
        if (missed := sum(verdict.verdict == "not met" for verdict in entry.verdicts))
    ]
    where = states[0] if len(states) == 1 else "the states below"
    content = {
        "title": run.title,
        "outcome": {
            "tone": "failure" if missing else "warning" if reasons else "success",
            "kind": f"{len(entries)} scans",
            "text": f"Compared with the {entries[0].surface} in {where}.",
            "reasons": [*missing, *reasons],
            "remarks": (text,),
        },
        "tiles": [],
        "states": [(entry.name, entry.state) for entry in entries] if len(states) > 1 else [],
        "scans": [entry.name for entry in entries],
        "verdicts": _verdicts(run, entries),
        "rule": RULE,
        "columns": ["Measure", "Mean", "Spread", *(entry.name for entry in entries)],
        "rows": [_row(run, name, [entry.measures[name] for entry in entries]) for name in _common(entries)],
        "pages": [(entry.name, f"{entry.name}/{PAGE}") for entry in entries],
        "cautions": (*CAUTIONS, *GENERAL_CAUTIONS),
    }
    return render("comparisons.html", content)


def _common(entries: Sequence[ScanEntry]) -> list[str]:
    """Names of the quantities that all scans have."""
    return [name for name in entries[0].measures if all(name in entry.measures for entry in entries)]


def _verdicts(run: RunRecord, entries: Sequence[ScanEntry]) -> list[dict[str, Any]]:
    """Rows of the table of verdicts: quantity, limit, and a cell for each scan."""
    rows: list[dict[str, Any]] = []
    for number in range(len(entries[0].verdicts)):
        cells = [verdict_row(run.units, entry.verdicts[number]) for entry in entries]
        quantity, condition = cells[0][:2]
        shown = [(value, verdict, tone) for _, _, value, verdict, tone in cells]
        rows.append({"quantity": quantity, "condition": condition, "cells": shown})
    return rows


def _row(run: RunRecord, name: str, found: Sequence[Uncertain]) -> list[str]:
    values = np.array([entry.value for entry in found])
    sizes = np.abs(values) + np.array([entry.standard_deviation for entry in found])
    unit = shown_in(run.units, unit_of(name), float(np.nanmax(sizes, initial=0.0)))
    bare = DisplayUnit("", unit.factor)
    cells = [with_error(entry.value, entry.standard_deviation, bare) for entry in found]
    mean, spread = (
        digits(unit.factor * float(values.mean()), 3),
        digits(unit.factor * float(values.std(ddof=1)), 2),
    )
    return [unit.label(name), mean, spread, *cells]
