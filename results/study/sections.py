# SPDX-License-Identifier: MIT
"""What each section of the page on a study shows: which figures, of which runs, and the words around them."""

import itertools
from typing import Any

import numpy as np
from numpy.typing import NDArray

from annelid.results.figures.path_figures import Figure
from annelid.results.study.charts import sensitivity_chart, spread_chart
from annelid.results.study.figures import feasible_map, front_figure, level_words, response, spread_levels
from annelid.results.study.records import Column, StudyData
from annelid.solver.display import digits

__all__ = ["fronts", "maps", "responses", "sensitivities", "spreads", "yields"]

_PANELS, _QUANTITIES, _DRAWN, _FRONT = 3, 6, 6, 30

Rows = NDArray[np.int64]


def responses(data: StudyData) -> tuple[list[dict[str, Any]], str]:
    """Figures of every quantity against what varies, and what they leave out."""
    listed, drawn = _by_levels(data, "listed"), [c for c in data.varied if c.role == "drawn"]
    note = ""
    groups = []
    for number, quantity in enumerate(data.quantities[:_QUANTITIES]):
        drawings = []
        if listed and not drawn:
            lines = listed[1] if len(listed) > 1 else None
            panels = _panels(data, listed[2:])
            for i, (rows, title) in enumerate(panels):
                key = f"response-{number}-{i}"
                drawings.append(response(data, quantity, listed[0], lines, rows, title=title, name=key))
        else:
            everything = np.arange(len(data.ids))
            for i, column in enumerate([*listed, *drawn][:_DRAWN]):
                key = f"response-{number}-{i}"
                drawings.append(response(data, quantity, column, None, everything, title="", name=key))
        groups.append({"heading": quantity.label, "drawings": _plain(drawings)})
    if listed and not drawn and len(listed) > 3:
        fixed = ", ".join(level_words(column, column.levels[0]) for column in listed[3:])
        note = f"What is drawn here is a cut through the study: {fixed}."
    return groups, note


def maps(data: StudyData) -> list[dict[str, Any]]:
    """Where in the plane of the two variables with most values all requirements are met."""
    if not data.requirements:
        return []
    listed = _by_levels(data, "listed")
    drawn = [c for c in data.varied if c.role == "drawn"]
    everything = np.arange(len(data.ids))
    if len(listed) >= 2:
        panels = _panels(data, listed[2:])
        found = [
            feasible_map(data, listed[0], listed[1], rows, title=title, name=f"map-{i}")
            for i, (rows, title) in enumerate(panels)
        ]
    elif len(drawn) >= 2:
        pairs = list(itertools.combinations(drawn[:3], 2))
        found = [
            feasible_map(data, a, b, everything, title="", name=f"map-{i}") for i, (a, b) in enumerate(pairs)
        ]
    else:
        found = []
    return _plain(found)


def fronts(data: StudyData) -> dict[str, Any]:
    """Objectives against each other, and the runs that nothing beats in all of them."""
    empty = {"front_figures": [], "front_words": "", "front_table": {"heads": [], "rows": []}}
    if len(data.objectives) < 2 or not data.front:
        return empty
    pairs = list(itertools.combinations(data.objectives, 2))
    figures = [front_figure(data, pair, name=f"front-{i}") for i, pair in enumerate(pairs)]
    varied = [column for column in data.varied if column.role != "derived"]
    columns = [*varied, *(data.column(quantity) for quantity in data.objectives)]
    first = data.column(next(iter(data.objectives)))
    rows = sorted(data.front, key=lambda row: float(first.values[row]))
    feasible = bool(data.requirements) and all(data.marks[row] == "met" for row in rows)
    words = "No run beats those ringed in one objective without losing in another"
    words += "; only runs that meet all requirements are weighed." if feasible else "."
    if data.requirements and not feasible:
        words += " None of the runs meets all requirements, so requirements are left aside here."
    if len(rows) > _FRONT:
        words += f" {_FRONT} of {len(rows)} are listed."
        rows = [rows[round(i)] for i in np.linspace(0, len(rows) - 1, _FRONT)]
    table = {
        "heads": [column.label for column in columns],
        "rows": [
            {"id": data.ids[row], "link": data.links[row], "cells": [_cell(c, row) for c in columns]}
            for row in rows
        ],
    }
    return {"front_figures": _plain(figures), "front_words": words, "front_table": table}


def sensitivities(data: StudyData) -> dict[str, Any]:
    """What the quantities depend on."""
    figures = [
        sensitivity_chart(found, name=f"sensitivity-{i}") for i, found in enumerate(data.sensitivities)
    ]
    words = ""
    if data.sensitivities:
        found = data.sensitivities[0]
        if found.kind == "sobol":
            words = (
                "Sobol indices: the share of a quantity's variance that a variable explains alone, and with "
                "all its interactions; thin lines are 95 % confidence intervals from resampling."
            )
        else:
            words = (
                "Spearman's rank correlations with their 95 % confidence intervals: +1 if a quantity always "
                "grows with the variable, 0 if it does not go one way with it. Sobol indices need sampling "
                'by the method "sensitivity".'
            )
        words += f" From {found.used} runs"
        words += f"; {found.left_out} could not be used." if found.left_out else "."
        if data.searched:
            words += (
                " A search chose these points, more of them where it hoped for the best: variables move "
                "together in them, and the intervals can be too narrow. For what matters overall, run a "
                "study with sampling."
            )
    return {"sensitivities": _plain(figures), "sensitivity_words": words}


def yields(data: StudyData) -> list[dict[str, Any]]:
    """Shares of good parts."""
    return [
        {
            "group": found.group or "all",
            "good": f"{found.good} of {found.parts}",
            "share": f"{digits(100 * found.good / found.parts, 3)} %",
            "interval": f"{digits(100 * found.low, 3)} % to {digits(100 * found.high, 3)} %",
            "without": found.without_result,
        }
        for found in data.yields
    ]


def spreads(data: StudyData) -> list[dict[str, Any]]:
    """Distributions of a tolerance study, by what was listed."""
    groups: dict[str, dict[str, Any]] = {}
    for number, spread in enumerate(data.spreads):
        group = groups.setdefault(spread.group, {"heading": spread.group, "drawings": [], "rows": []})
        group["drawings"] += _plain([spread_chart(spread, name=f"spread-{number}")])
        low, high = (float(x) for x in np.percentile(spread.values, [5, 95]))
        causes = sorted(spread.contributions.items(), key=lambda item: -item[1])
        said = [f"{name.replace('_', ' ')} {100 * share:.0f} %" for name, share in causes if share >= 0.05]
        numbers = {
            "mean": float(spread.values.mean()),
            "deviation": float(spread.values.std(ddof=1)) if len(spread.values) > 1 else 0.0,
            "low": low,
            "high": high,
        }
        texts = {key: spread.display.show(spread.kind, value) for key, value in numbers.items()}
        group["rows"].append({"quantity": spread.quantity, **texts, "causes": ", ".join(said)})
    return list(groups.values())


def _by_levels(data: StudyData, role: str) -> list[Column]:
    """What was listed, numbers with most values first: they make the best curves."""
    columns = [c for c in data.varied if c.role == role and len(c.levels) > 1]
    return sorted(columns, key=lambda c: (c.unit is None, -len(c.levels)))


def _panels(data: StudyData, others: list[Column]) -> list[tuple[Rows, str]]:
    """Runs of each panel, and what is the same in them: the first of the others has a panel a value."""
    chosen = np.ones(len(data.ids), dtype=bool)
    for column in others[1:]:
        chosen &= column.numbers == column.numbers[0]
    if not others:
        return [(np.flatnonzero(chosen), "")]
    levels = others[0].levels
    panels = []
    for level in spread_levels(levels, _PANELS):
        value = levels.index(level) if others[0].unit is None else level
        rows = np.flatnonzero(chosen & (others[0].numbers == value))
        panels.append((rows, level_words(others[0], level)))
    return panels


def _cell(column: Column, row: int) -> str:
    value = column.values[row]
    return str(value) if column.unit is None else digits(float(value) * column.shown.factor)


def _plain(drawings: list[Figure]) -> list[dict[str, Any]]:
    return [drawing._asdict() for drawing in drawings]
