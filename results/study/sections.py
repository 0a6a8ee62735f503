# SPDX-License-Identifier: MIT
"""The sections of the page of a study: their figures, tables and texts."""

import itertools
from typing import Any

import numpy as np
from numpy.typing import NDArray

from annelid.results.figures.path_figures import SvgFigure
from annelid.results.study.charts import sensitivity_chart, spread_chart
from annelid.results.study.figures import choose_levels, feasible_map, front_figure, level_label, response
from annelid.results.study.study_data import Column, Sensitivity, StudyData
from annelid.solver.display import counted, digits

__all__ = ["fronts", "maps", "responses", "sensitivities", "spreads", "yields"]

_MOST_PANELS, _MOST_QUANTITIES, _MOST_VARIABLES, _MOST_FRONT_ROWS = 3, 6, 6, 30
_SMALLEST_CONTRIBUTION = 0.05  # that is listed


def responses(data: StudyData) -> tuple[list[dict[str, Any]], str]:
    """Figures of every quantity against the variables, and a note if they do not show all runs."""
    listed, sampled = _by_levels(data, "listed"), [c for c in data.variables if c.role == "sampled"]
    note = ""
    groups = []
    for number, quantity in enumerate(data.quantities[:_MOST_QUANTITIES]):
        figures = []
        if listed and not sampled:
            lines = listed[1] if len(listed) > 1 else None
            panels = _panels(data, listed[2:])
            for i, (rows, title) in enumerate(panels):
                key = f"response-{number}-{i}"
                figures.append(response(data, quantity, listed[0], lines, rows, title=title, name=key))
        else:
            for i, column in enumerate([*listed, *sampled][:_MOST_VARIABLES]):
                for j, (rows, title) in enumerate(_groups(data, column, listed)):
                    key = f"response-{number}-{i}-{j}"
                    figures.append(response(data, quantity, column, None, rows, title=title, name=key))
        groups.append({"heading": quantity.label, "figures": figures})
    fixed = listed[3:] if not sampled else listed[1:] if data.yields else []
    if fixed:
        values = ", ".join(level_label(column, column.values[0]) for column in fixed)
        note = f"The figures{' of tolerances' if sampled else ''} show only runs with {values}."
    return groups, note


def maps(data: StudyData) -> list[SvgFigure]:
    """Maps of the feasible region in the plane of two variables, those with most values first."""
    if not data.requirements:
        return []
    listed = _by_levels(data, "listed")
    sampled = [c for c in data.variables if c.role == "sampled"]
    figures = []
    if len(listed) >= 2:
        panels = _panels(data, listed[2:])
        figures = [
            feasible_map(data, listed[0], listed[1], rows, title=title, name=f"map-{i}")
            for i, (rows, title) in enumerate(panels)
        ]
    elif len(sampled) >= 2:
        pairs = itertools.combinations(sampled[:3], 2)
        figures = [
            feasible_map(data, a, b, rows, title=title, name=f"map-{i}-{j}")
            for i, (a, b) in enumerate(pairs)
            for j, (rows, title) in enumerate(_groups(data, a, listed))
        ]
    return figures


def fronts(data: StudyData) -> dict[str, Any]:
    """Figures of the Pareto front, a text on it, and a table of its runs."""
    empty = {"front_figures": [], "front_text": "", "front_table": {"headings": [], "rows": []}}
    if len(data.objectives) < 2 or not data.front:
        return empty
    pairs = list(itertools.combinations(data.objectives, 2))
    figures = [front_figure(data, pair, name=f"front-{i}") for i, pair in enumerate(pairs)]
    variables = [column for column in data.variables if column.role != "derived"]
    columns = [*variables, *(data.column(quantity) for quantity in data.objectives)]
    first = data.column(next(iter(data.objectives)))
    rows = sorted(data.front, key=lambda row: float(first.values[row]))
    feasible = bool(data.requirements) and all(data.categories[row] == "met" for row in rows)
    text = (
        "Ringed runs are on the Pareto front: no other run is better in one objective without being worse in "
    )
    text += "another."
    if feasible:
        text += " Only runs that meet all requirements are compared."
    elif data.requirements:
        text += " No run meets all requirements, so all stable runs are compared."
    if len(rows) > _MOST_FRONT_ROWS:
        text += f" The table lists {_MOST_FRONT_ROWS} of {len(rows)} runs."
        rows = [rows[round(i)] for i in np.linspace(0, len(rows) - 1, _MOST_FRONT_ROWS)]
    table = {
        "headings": [column.label for column in columns],
        "rows": [
            {"id": data.ids[row], "link": data.links[row], "cells": [c.text(row) for c in columns]}
            for row in rows
        ],
    }
    return {"front_figures": figures, "front_text": text, "front_table": table}


def sensitivities(data: StudyData) -> dict[str, Any]:
    """Figures of the sensitivities and a text on them."""
    figures = [sensitivity_chart(each, name=f"sensitivity-{i}") for i, each in enumerate(data.sensitivities)]
    text = _sensitivity_text(data.sensitivities[0], data.searched) if data.sensitivities else ""
    return {"sensitivities": figures, "sensitivity_text": text}


def _sensitivity_text(sensitivity: Sensitivity, searched: bool) -> str:
    if sensitivity.kind == "sobol":
        text = (
            "A Sobol index is the fraction of the variance of a quantity that a variable explains alone "
            "(first order) or with all its interactions (total). Error bars are 95 % confidence intervals "
            "from resampling."
        )
    else:
        text = (
            "Spearman's rank correlation is +1 if a quantity always increases with the variable, -1 if it "
            "always decreases, and near 0 without a monotonic relation. Error bars are 95 % confidence "
            'intervals. Sobol indices require the sampling method "sensitivity".'
        )
    text += f" The estimate uses {counted(sensitivity.used, 'run')}"
    text += f"; {sensitivity.left_out} could not be used." if sensitivity.left_out else "."
    if searched:
        text += (
            " The points were chosen by a search and are concentrated near the optimum. The variables are "
            "correlated in these points, and the confidence intervals can be too narrow. For sensitivities "
            "in the whole range, run a study with sampling."
        )
    return text


def yields(data: StudyData) -> list[tuple[str, ...]]:
    """Rows of the table of conforming parts."""
    return [
        (
            each.group or "all",
            f"{each.conforming} of {each.parts}",
            f"{digits(100 * each.conforming / each.parts, 3)} %",
            f"{digits(100 * each.low, 3)} % to {digits(100 * each.high, 3)} %",
            str(each.without_result),
        )
        for each in data.yields
    ]


def spreads(data: StudyData) -> list[dict[str, Any]]:
    """Figures and tables of the distributions of a tolerance study, by listed values."""
    groups: dict[str, dict[str, Any]] = {}
    for number, spread in enumerate(data.spreads):
        group = groups.setdefault(spread.group, {"heading": spread.group, "figures": [], "rows": []})
        group["figures"] += [spread_chart(spread, name=f"spread-{number}")]
        low, high = (float(x) for x in np.percentile(spread.values, [5, 95]))
        contributions = sorted(spread.contributions.items(), key=lambda item: -item[1])
        main = [
            f"{name.replace('_', ' ')} {100 * fraction:.0f} %"
            for name, fraction in contributions
            if fraction >= _SMALLEST_CONTRIBUTION
        ]
        deviation = float(spread.values.std(ddof=1)) if len(spread.values) > 1 else 0.0
        numbers = (float(spread.values.mean()), deviation, low, high)
        texts = [spread.display.show(spread.kind, value) for value in numbers]
        group["rows"].append((spread.quantity, *texts, ", ".join(main)))
    return list(groups.values())


def _by_levels(data: StudyData, role: str) -> list[Column]:
    """Variables of a role that vary: numbers before texts, those with most values first."""
    columns = [c for c in data.variables if c.role == role and len(c.levels) > 1]
    return sorted(columns, key=lambda c: (c.unit is None, -len(c.levels)))


def _groups(data: StudyData, column: Column, listed: list[Column]) -> list[tuple[NDArray[np.int64], str]]:
    """Runs and title of each panel of a variable: parts of other nominal sizes have their own panels."""
    return _panels(data, listed if data.yields and column.role == "sampled" else [])


def _panels(data: StudyData, others: list[Column]) -> list[tuple[NDArray[np.int64], str]]:
    """Runs and title of each panel; each panel has another value of the first of the other variables."""
    chosen = np.ones(len(data.ids), dtype=bool)
    for column in others[1:]:
        chosen &= column.numbers == column.numbers[0]
    if not others:
        return [(np.flatnonzero(chosen), "")]
    levels = others[0].levels
    panels = []
    for level in choose_levels(levels, _MOST_PANELS):
        value = levels.index(level) if others[0].unit is None else level
        rows = np.flatnonzero(chosen & (others[0].numbers == value))
        panels.append((rows, level_label(others[0], level)))
    return panels
