# SPDX-License-Identifier: MIT
"""The page and the table of a verification."""

import math
from pathlib import Path
from typing import Any

from annelid.results.atomic import write_atomically
from annelid.results.folder.path_rows import csv_text
from annelid.results.pages.render import render
from annelid.results.verification.figures import convergence_figure
from annelid.results.verification.record import ROUNDING, TOO_CLOSE, QuantityBar, Verification
from annelid.results.verification.shown import shown_bar
from annelid.solver.display import DisplayUnits, capitalised, digits
from annelid.solver.model import quantities as q
from annelid.solver.model.loads import load_kind

__all__ = ["write_bars", "write_verification_page"]

_MAIN = (
    q.MEAN_RADIAL_EXPANSION,
    q.AXIAL_SHORTENING,
    q.LUMEN_VOLUME,
    q.PEAK_STRESS,
    q.PEAK_STRESS_PERCENTILE,
    q.BREAKDOWN_MARGIN,
    q.TEARING_MARGIN,
)
_MOST_FIGURES = 12
_TONES = {"met": "success", "not met": "failure", TOO_CLOSE: "warning"}
_COLUMNS = [
    "quantity",
    "where",
    "unit",
    "value",
    "half_width",
    "best",
    "best_half_width",
    "pattern",
    "order",
    "index",
    "mesh",
    "steps",
    "tolerance",
    "quadrature",
    "note",
]


def write_bars(verification: Verification, path: Path) -> Path:
    """Write the bars as CSV, in internal units."""
    rows = [{key: _cell(getattr(bar, key)) for key in _COLUMNS} for bar in verification.bars]
    return write_atomically(path, csv_text(_COLUMNS, rows, header=True))


def write_verification_page(verification: Verification, display: DisplayUnits, path: Path) -> Path:
    """Write the page.

    Args:
        verification: What it shows.
        display: Units of the case.
        path: The file.
    """
    bars = _ordered(verification)
    main = [bar for bar in bars if _is_main(bar, verification)]
    figures = [
        convergence_figure(bar, _kind(bar), display, _limits(bar, verification), name=f"c{number}")
        for number, bar in enumerate([b for b in main if _changes(b)][:_MOST_FIGURES])
    ]
    content = {
        "title": verification.title,
        "outcome": _outcome(verification),
        "tiles": [],
        "verdicts": [_verdict_row(v, verification, display) for v in verification.verdicts],
        "main": [_row(bar, display) for bar in main],
        "others": [_row(bar, display) for bar in bars if bar not in main],
        "figures": figures,
        "notes": _notes(bars),
        "run_headings": list(verification.runs[0]) if verification.runs else [],
        "runs": [[_text(value) for value in run.values()] for run in verification.runs],
        "facts": {"version": verification.version, "hash of the case": verification.case_hash[:16]},
    }
    return write_atomically(path, render("verification.html", content))


def _outcome(verification: Verification) -> dict[str, Any]:
    answers = [verdict.answer for verdict in verification.verdicts]
    barred = sum(bar.has_bar for bar in verification.bars)
    text = f"{barred} of {len(verification.bars)} reported numbers have an error bar"
    reasons = []
    for answer in ("not met", TOO_CLOSE):
        names = [v.quantity for v in verification.verdicts if v.answer == answer]
        if names:
            reasons.append(f"{answer}: {', '.join(dict.fromkeys(names))}.")
    if any(run["state"] != "finished" for run in verification.runs):
        reasons.append("Some runs are not finished; the bars are from the others.")
    if "not met" in answers:
        tone, kind = "failure", "Misses requirements, also with its error bars"
    elif TOO_CLOSE in answers:
        tone, kind = "warning", "Some requirements are too close to call"
    elif answers:
        tone, kind = "success", "Meets its requirements by more than its error bars"
        if any(not math.isfinite(v.half_width) for v in verification.verdicts):
            tone, kind = "warning", "Meets its requirements, of which some have no error bar"
    else:
        tone, kind = "success", "Error bars; the case has no requirements"
    return {
        "tone": tone,
        "kind": kind,
        "text": f"{text}.",
        "reasons": reasons,
        "remarks": verification.remarks,
    }


def _verdict_row(verdict: Any, verification: Verification, display: DisplayUnits) -> dict[str, str]:
    kind = q.quantity_of(verdict.quantity).kind
    answer = verdict.answer
    if not math.isfinite(verdict.half_width):
        answer += ", without a bar"
    return {
        "quantity": verdict.quantity,
        "condition": f"{verdict.condition} {display.show(kind, verdict.limit)}",
        "value": shown_bar(kind, verdict.value, verdict.half_width, display),
        "where": verdict.where,
        "answer": answer,
        "tone": _TONES[verdict.answer],
    }


def _ordered(verification: Verification) -> list[QuantityBar]:
    """Required quantities first."""
    required = {verdict.quantity for verdict in verification.verdicts}
    return sorted(verification.bars, key=lambda bar: bar.quantity not in required)


def _is_main(bar: QuantityBar, verification: Verification) -> bool:
    if bar.quantity in {verdict.quantity for verdict in verification.verdicts}:
        return True
    return bar.quantity in {quantity.name for quantity in _MAIN} or bar.where == "of the path"


def _limits(bar: QuantityBar, verification: Verification) -> tuple[float, ...]:
    return tuple(
        verdict.limit
        for verdict in verification.verdicts
        if verdict.quantity == bar.quantity and verdict.where in ("", bar.where)
    )


def _row(bar: QuantityBar, display: DisplayUnits) -> list[str]:
    kind = _kind(bar)

    def share(value: float) -> str:
        return _percent(value / abs(bar.value)) if bar.value else "–"

    best = shown_bar(kind, bar.best, bar.best_half_width, display) if math.isfinite(bar.best) else "–"
    pattern = bar.pattern if not math.isfinite(bar.order) else f"{bar.pattern}, order {digits(bar.order, 2)}"
    return [
        f"{capitalised(bar.quantity)} {bar.where}".strip(),
        shown_bar(kind, bar.value, bar.half_width, display) if bar.has_bar else display.show(kind, bar.value),
        _with_sign(share(bar.half_width)),
        best,
        pattern or "–",
        _with_sign(_percent(bar.index)),
        " / ".join(map(share, (bar.mesh, bar.steps, bar.tolerance, bar.quadrature))),
    ]


def _percent(ratio: float) -> str:
    """A ratio in percent without the sign; 0 if it is below 0.001 %."""
    return "–" if not math.isfinite(ratio) else "0" if ratio < 1e-5 else digits(100 * ratio, 2)


def _with_sign(number: str) -> str:
    return {"–": "–", "0": "< 0.001 %"}.get(number, f"{number} %")


def _notes(bars: list[QuantityBar]) -> list[str]:
    """Sentences on bars, each with the quantities that it is about."""
    of_note: dict[str, list[str]] = {}
    for bar in bars:
        if bar.note:
            of_note.setdefault(bar.note, []).append(f"{bar.quantity} {bar.where}".strip())
    return [f"{capitalised(', '.join(names))}: {note}" for note, names in of_note.items()]


def _changes(bar: QuantityBar) -> bool:
    """Whether a quantity has different values on several meshes."""
    return len(bar.values) > 1 and bar.pattern != ROUNDING


def _kind(bar: QuantityBar) -> str:
    try:
        return q.quantity_of(bar.quantity).kind
    except KeyError:
        kind = load_kind(bar.quantity)
        return "ratio" if kind is None else kind.number


def _text(value: Any) -> str:
    return digits(value, 4) if isinstance(value, float) else str(value)


def _cell(value: Any) -> Any:
    return "" if isinstance(value, float) and math.isnan(value) else value
