# SPDX-License-Identifier: MIT
"""The page of a study: one file, with links to the reports of its runs."""

import base64
import hashlib
import json
from importlib.resources import files
from pathlib import Path
from typing import Any

from annelid.results.atomic import write_atomically
from annelid.results.pages.render import render
from annelid.results.study.parallel_coordinates import parallel_coordinates
from annelid.results.study.sections import fronts, maps, responses, sensitivities, spreads, yields
from annelid.results.study.study_data import Category, Column, StudyData
from annelid.solver.display import counted

__all__ = ["write_study_page"]

_MOST_ROWS = 500  # of the table; browsers are slow with more
_MOST_PROBLEMS = 40
_MOST_REASONS = 8  # a limit that varies makes a requirement of each of its values
_MOST_AXES = 14
_LEGEND: dict[Category, tuple[str, str, str]] = {
    "met": ("●", "accent", "all requirements met"),
    "missed": ("○", "muted", "a requirement is not met"),
    "stopped": ("□", "warning", "load not reached"),
    "unstable": ("△", "warning", "last state unstable"),
    "failed": ("✕", "failure", "failed, no result"),
}
_TONES = {
    "met": "success",
    "missed": "",
    "stopped": "warning",
    "unstable": "warning",
    "failed": "failure",
    "pending": "",
}


def write_study_page(data: StudyData, path: Path) -> Path:
    """Write the page.

    Args:
        data: The content of the page.
        path: The file; links are relative to its folder.

    Returns:
        ``path``.
    """
    from markupsafe import Markup

    script = files("annelid.results.pages").joinpath("templates/study.js").read_text(encoding="utf-8")
    digest = base64.b64encode(hashlib.sha256(script.encode()).digest()).decode()
    content = _content(data) | {"script": Markup(script), "script_hash": f"sha256-{digest}"}
    return write_atomically(path, render("study.html", content))


def _content(data: StudyData) -> dict[str, Any]:
    parallel = parallel_coordinates(data, _axes(data))
    positions = {"positions": parallel.positions, "rows": parallel.rows}
    response_groups, note = responses(data)
    return {
        "title": data.title,
        "notes": data.notes,
        "outcome": _outcome(data),
        "best": data.best._asdict() | {"link": data.links[data.best.row]} if data.best else None,
        "tiles": _tiles(data),
        "legend": _legend(data),
        "has_reports": any(data.links),
        "parallel": {"svg": parallel.svg, "json": _json(positions), "omitted": parallel.omitted},
        "maps": maps(data),
        "responses": response_groups,
        "response_note": note,
        **fronts(data),
        **sensitivities(data),
        "yields": yields(data),
        "spreads": spreads(data),
        "problem_headings": [column.label for column in data.variables if column.role != "derived"],
        **_problems(data),
        "table": _table(data),
        "facts": data.facts,
    }


def _axes(data: StudyData) -> list[Column]:
    """Axes of the parallel coordinates; derived variables depend on the others and have no axis."""
    variables = [column for column in data.variables if column.role != "derived" and len(column.levels) > 1]
    quantities = [column for column in data.quantities if column.levels]
    return [*variables, *quantities][:_MOST_AXES] if len(variables) + len(quantities) > 1 else []


def _outcome(data: StudyData) -> dict[str, Any]:
    total, failed, pending = len(data.ids), data.categories.count("failed"), data.categories.count("pending")
    met = data.categories.count("met")
    texts = [f"{total - failed - pending} of {total} runs have a result"]
    texts += [f"{failed} failed"] if failed else []
    texts += [f"{pending} are not finished"] if pending else []
    texts += [f"{met} meet all requirements"] if data.requirements else []
    missed = {text: sum(met is False for met in verdicts) for text, verdicts in data.requirements.items()}
    most = sorted((text for text in missed if missed[text]), key=lambda text: -missed[text])[:_MOST_REASONS]
    reasons = [f"{text}: not met by {counted(missed[text], 'run')}." for text in most]
    kind = "unfinished" if pending else "finished, with failures" if failed else "finished"
    tone = "warning" if pending or failed else "success" if met or not data.requirements else "failure"
    text = ", ".join(texts) + "."
    return {"kind": kind, "text": text, "tone": tone, "reasons": reasons, "remarks": data.advice}


def _tiles(data: StudyData) -> list[dict[str, str]]:
    tiles = [
        {"name": "runs", "value": str(len(data.ids)), "where": ""},
        *(
            {"name": text, "value": str(data.categories.count(category)), "where": ""}
            for category, (_, _, text) in _LEGEND.items()
            if category in data.categories
        ),
    ]
    return tiles if len(tiles) > 2 else []


def _legend(data: StudyData) -> list[dict[str, str]]:
    texts = {category: text for category, (_, _, text) in _LEGEND.items()}
    if not data.requirements:
        texts["met"] = "finished"
    entries = [
        {"sign": sign, "tone": tone, "text": texts[category]}
        for category, (sign, tone, _) in _LEGEND.items()
        if category in data.categories
    ]
    if any(data.limits.values()):
        text = "requirement on the last state; its safe side is shaded"
        entries.append({"sign": "┄", "tone": "success", "text": text})
    return entries


def _table(data: StudyData) -> dict[str, Any]:
    """The table of runs; columns with equal values are listed separately, and derived variables are last."""
    columns = sorted((*data.variables, *data.quantities), key=lambda column: column.role == "derived")
    constant = [column for column in columns if column.role != "quantity" and len(column.levels) <= 1]
    constant = constant if len(data.ids) > 1 else []
    shown = [column for column in columns if column not in constant]
    return {
        "headings": [{"label": column.label, "derived": column.role == "derived"} for column in shown],
        "derived": sum(column.role == "derived" for column in shown),
        "constant": [f"{column.label}: {column.text(0)}" for column in constant],
        "rows": [_row(data, row, shown) for row in range(min(_MOST_ROWS, len(data.ids)))],
        "omitted": max(0, len(data.ids) - _MOST_ROWS),
    }


def _row(data: StudyData, row: int, columns: list[Column]) -> dict[str, Any]:
    category, outcome = data.categories[row], data.outcomes[row]
    return {
        "number": row,
        "id": data.ids[row],
        "link": data.links[row],
        "outcome": "not finished" if category == "pending" else _in_words(data, row, outcome),
        "tone": _TONES[category],
        "cells": [column.text(row) for column in columns],
    }


def _in_words(data: StudyData, row: int, outcome: str) -> str:
    """The outcome of a run, whether it is the best one, and the requirements that it missed."""
    missed = [text for text, verdicts in data.requirements.items() if verdicts[row] is False]
    if data.best is not None and row == data.best.row:
        outcome += "; best run"
    return f"{outcome}; not met: {'; '.join(missed)}" if missed else outcome


def _problems(data: StudyData) -> dict[str, Any]:
    order = ("failed", "stopped", "unstable")
    rows = [row for row, category in enumerate(data.categories) if category in order]
    rows.sort(key=lambda row: order.index(data.categories[row]))
    problems = [
        {
            "id": data.ids[row],
            "link": data.links[row],
            "outcome": data.outcomes[row] if data.categories[row] != "unstable" else "unstable state",
            "message": data.messages[row],
            "tone": _TONES[data.categories[row]],
            "cells": [column.text(row) for column in data.variables if column.role != "derived"],
        }
        for row in rows[:_MOST_PROBLEMS]
    ]
    return {"problems": problems, "problems_omitted": max(0, len(rows) - _MOST_PROBLEMS)}


def _json(content: Any) -> Any:
    """Convert to JSON without ``<``, which could end the script element."""
    from markupsafe import Markup

    return Markup(json.dumps(content, allow_nan=False).replace("<", "\\u003c"))
