# SPDX-License-Identifier: MIT
"""The page on a study: self-contained, each run linked to its report."""

import base64
import hashlib
import json
from importlib.resources import files
from pathlib import Path
from typing import Any

from annelid.results.atomic import write_atomically
from annelid.results.pages.render import render
from annelid.results.study.parallel import parallel_coordinates
from annelid.results.study.records import Column, Mark, StudyData
from annelid.results.study.sections import fronts, maps, responses, sensitivities, spreads, yields
from annelid.solver.display import digits

__all__ = ["write_study_page"]

_ROWS = 500  # of the table on the page; more take browsers long
_TROUBLES = 40
_AXES = 14
_SIGNS: dict[Mark, tuple[str, str, str]] = {
    "met": ("●", "accent", "all requirements met"),
    "missed": ("○", "muted", "a requirement is not met"),
    "short": ("□", "warn", "did not reach its load"),
    "unstable": ("△", "warn", "ends in an unstable state"),
    "failed": ("✕", "bad", "failed, no result"),
}
_TONES = {"met": "good", "missed": "", "short": "warn", "unstable": "warn", "failed": "bad", "open": ""}


def write_study_page(data: StudyData, path: Path) -> Path:
    """Write the page.

    Args:
        data: All that it shows.
        path: The file; links are relative to its folder.

    Returns:
        ``path``.
    """
    from markupsafe import Markup

    script = files("annelid.results.pages").joinpath("templates/study.js").read_text(encoding="utf-8")
    digest = base64.b64encode(hashlib.sha256(script.encode()).digest()).decode()
    content = _content(data)
    for drawing in _drawings(content):
        drawing["svg"] = Markup(drawing["svg"])
    content |= {"script": Markup(script), "script_hash": f"sha256-{digest}"}
    return write_atomically(path, render("study.html", content))


def _content(data: StudyData) -> dict[str, Any]:
    drawn = parallel_coordinates(data, _axes(data))
    places = {"places": drawn.places, "rows": drawn.rows}
    response_groups, note = responses(data)
    return {
        "title": data.title,
        "notes": data.notes,
        "outcome": _outcome(data),
        "tiles": _tiles(data),
        "marks": _legend(data),
        "has_reports": any(data.links),
        "parallel": {"svg": drawn.svg, "json": _json(places), "omitted": drawn.omitted},
        "maps": maps(data),
        "responses": response_groups,
        "response_note": note,
        **fronts(data),
        **sensitivities(data),
        "yields": yields(data),
        "spreads": spreads(data),
        "trouble_heads": [column.label for column in data.varied if column.role != "derived"],
        **_troubles(data),
        "table": _table(data),
        "facts": data.facts,
    }


def _axes(data: StudyData) -> list[Column]:
    """Axes of the parallel coordinates: what was derived has no say of its own."""
    varied = [column for column in data.varied if column.role != "derived" and len(column.levels) > 1]
    quantities = [column for column in data.quantities if column.levels]
    return [*varied, *quantities][:_AXES] if len(varied) + len(quantities) > 1 else []


def _outcome(data: StudyData) -> dict[str, Any]:
    count = {mark: data.marks.count(mark) for mark in dict.fromkeys(data.marks)}
    total, failed, left = len(data.ids), count.get("failed", 0), count.get("open", 0)
    done = total - failed - left
    words = [f"{done} of {total} runs have a result"]
    words += [f"{failed} failed"] if failed else []
    words += [f"{left} are not done yet"] if left else []
    if data.requirements:
        words.append(f"{count.get('met', 0)} meet all requirements")
    word = "unfinished" if left else "finished, with failures" if failed else "finished"
    tone = "warn" if left or failed else "good" if count.get("met") or not data.requirements else "bad"
    return {"word": word, "text": ", ".join(words) + ".", "tone": tone, "remarks": data.advice}


def _tiles(data: StudyData) -> list[dict[str, str]]:
    tiles = [
        {"name": "runs", "value": str(len(data.ids))},
        *(
            {"name": _SIGNS[mark][2], "value": str(data.marks.count(mark))}
            for mark in _SIGNS
            if mark in data.marks
        ),
    ]
    return tiles if len(tiles) > 2 else []


def _legend(data: StudyData) -> list[dict[str, str]]:
    plain = "a result" if not data.requirements else _SIGNS["met"][2]
    items = [{"sign": s, "tone": t, "words": w} for mark, (s, t, w) in _SIGNS.items() if mark in data.marks]
    for item in items:
        if item["sign"] == _SIGNS["met"][0]:
            item["words"] = plain
    if any(data.limits.values()):
        items.append(
            {"sign": "┄", "tone": "good", "words": "required at the last state; what that allows is tinted"}
        )
    return items


def _table(data: StudyData) -> dict[str, Any]:
    """The table of runs: what is the same in all of them is said once, what was derived stands last."""
    columns = sorted((*data.varied, *data.quantities), key=lambda column: column.role == "derived")
    alone = [column for column in columns if column.role != "quantity" and len(column.levels) <= 1]
    alone = alone if len(data.ids) > 1 else []
    shown = [column for column in columns if column not in alone]
    return {
        "heads": [{"label": column.label, "derived": column.role == "derived"} for column in shown],
        "derived": sum(column.role == "derived" for column in shown),
        "same": [f"{column.label}: {_cell(column, 0)}" for column in alone],
        "rows": [_row(data, row, shown) for row in range(min(_ROWS, len(data.ids)))],
        "omitted": max(0, len(data.ids) - _ROWS),
    }


def _row(data: StudyData, row: int, columns: list[Column]) -> dict[str, Any]:
    mark = data.marks[row]
    return {
        "number": row,
        "id": data.ids[row],
        "link": data.links[row],
        "said": {"met": data.kinds[row], "missed": "requirement not met", "open": "not done"}.get(
            mark, data.kinds[row]
        ),
        "tone": _TONES[mark],
        "cells": [_cell(column, row) for column in columns],
    }


def _troubles(data: StudyData) -> dict[str, Any]:
    rows = [row for row, mark in enumerate(data.marks) if mark in ("failed", "unstable", "short")]
    rows.sort(key=lambda row: ("failed", "short", "unstable").index(data.marks[row]))
    shown = [
        {
            "id": data.ids[row],
            "link": data.links[row],
            "kind": data.kinds[row] if data.marks[row] != "unstable" else "unstable state",
            "words": data.words[row],
            "tone": _TONES[data.marks[row]],
            "cells": [_cell(column, row) for column in data.varied if column.role != "derived"],
        }
        for row in rows[:_TROUBLES]
    ]
    return {"troubles": shown, "troubles_omitted": max(0, len(rows) - _TROUBLES)}


def _cell(column: Column, row: int) -> str:
    value = column.values[row]
    return str(value) if column.unit is None else digits(float(value) * column.shown.factor)


def _json(content: Any) -> Any:
    """JSON that can stand in a page: no ``<`` can end the element it stands in."""
    from markupsafe import Markup

    return Markup(json.dumps(content, allow_nan=False).replace("<", "\\u003c"))


def _drawings(content: Any) -> list[dict[str, Any]]:
    """All mutable drawings in the content, however deep."""
    if isinstance(content, dict):
        found = [content] if "svg" in content else []
        return found + [d for value in content.values() for d in _drawings(value)]
    if isinstance(content, list):
        return [d for value in content for d in _drawings(value)]
    return []
