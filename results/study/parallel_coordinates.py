# SPDX-License-Identifier: MIT
"""Parallel coordinates of a study: each run is a line through axes of variables and quantities."""

from html import escape
from typing import NamedTuple

import numpy as np

from annelid.geometry.body import FloatArray
from annelid.results.study.study_data import CATEGORIES, Column, StudyData, shortened
from annelid.solver.display import digits
from annelid.solver.model.quantities import MARGINS

__all__ = ["ParallelCoordinates", "parallel_coordinates"]

_STEP, _TOP, _HEIGHT, _SIDE = 128, 66, 230, 62
_MOST_LINES = 2000  # more lines overlap completely and are slow
_TITLE_WIDTH = 17  # letters in a line of a title
_LARGEST_MARGIN = 6.0  # over the smallest margin; margins are unbounded at low loads


class ParallelCoordinates(NamedTuple):
    """The figure, and the positions of the runs on the axes for the script of the page.

    Attributes:
        svg: Inline SVG; empty without axes.
        positions: Positions of each drawn run, one per axis: 0 at the lower end of the axis, 1 at the upper
            end, ``None`` if the run has no value.
        rows: Numbers of the drawn runs.
        omitted: Number of runs that are not drawn.
    """

    svg: str
    positions: list[list[float | None]]
    rows: list[int]
    omitted: int


def parallel_coordinates(data: StudyData, columns: list[Column]) -> ParallelCoordinates:
    """Draw every run as a line through parallel axes.

    Args:
        data: The study.
        columns: The axes from left to right.
    """
    if not columns:
        return ParallelCoordinates("", [], [], 0)
    positions = np.array([_positions(column) for column in columns]).T
    rows = np.arange(len(data.ids))
    if len(rows) > _MOST_LINES:
        rows = rows[np.linspace(0, len(rows) - 1, _MOST_LINES).astype(int)]
    order = [
        int(row) for category in reversed(CATEGORIES) for row in rows if data.categories[row] == category
    ]
    width = 2 * _SIDE + _STEP * (len(columns) - 1)
    parts = [
        f'<svg class="parallel" role="img" viewBox="0 0 {width} {_TOP + _HEIGHT + 26}">',
        "<title>Runs as lines through axes of variables and quantities</title>",
        *(_line(data, row, positions[row]) for row in order),
        *(_axis(number, column) for number, column in enumerate(columns)),
        "</svg>",
    ]
    drawn = [[None if np.isnan(p) else round(float(p), 4) for p in positions[row]] for row in order]
    return ParallelCoordinates("".join(parts), drawn, order, len(data.ids) - len(rows))


def _positions(column: Column) -> FloatArray:
    numbers = column.numbers
    low, high = _range(column)
    return np.where(np.isfinite(numbers), np.clip((numbers - low) / (high - low), 0.0, 1.0), np.nan)


def _range(column: Column) -> tuple[float, float]:
    numbers = column.numbers
    finite = numbers[np.isfinite(numbers)]
    if finite.size == 0:
        return 0.0, 1.0
    low, high = float(finite.min()), float(finite.max())
    if column.name in MARGINS:
        high = min(high, _LARGEST_MARGIN * max(1.0, low))
    return (low - 0.5, high + 0.5) if low == high else (low, high)


def _line(data: StudyData, row: int, positions: FloatArray) -> str:
    points, command = [], "M"
    for number, position in enumerate(positions):
        if np.isnan(position):
            command = "M"
            continue
        points.append(f"{command}{_SIDE + _STEP * number} {_TOP + _HEIGHT * (1.0 - position):.1f}")
        command = "L"
    title = escape(f"{data.ids[row]}: {data.messages[row] or data.outcomes[row]}")
    path = f'<path class="run {data.categories[row]}" d="{"".join(points)}"><title>{title}</title></path>'
    link = data.links[row]
    return f'<a href="{escape(link)}">{path}</a>' if link else path


def _axis(number: int, column: Column) -> str:
    x = _SIDE + _STEP * number
    kind = "quantity" if column.role == "quantity" else "variable"
    parts = [f'<g class="axis {kind}" data-axis="{number}" transform="translate({x} {_TOP})">']
    lines = _wrapped(column.label)
    for i, line in enumerate(lines):
        parts.append(f'<text class="title" y="{-14 - 13 * (len(lines) - 1 - i)}">{escape(line)}</text>')
    parts.append(f'<line y2="{_HEIGHT}"/>')
    for position, text in _ticks(column):
        y = _HEIGHT * (1.0 - position)
        parts.append(f'<line x1="-4" x2="0" y1="{y:.1f}" y2="{y:.1f}"/>')
        parts.append(f'<text class="tick" x="-7" y="{y + 3.5:.1f}">{escape(text)}</text>')
    parts.append(f'<rect class="brush" x="-9" width="18" height="{_HEIGHT}" visibility="hidden"/>')
    parts.append(f'<rect class="handle" x="-16" y="-8" width="32" height="{_HEIGHT + 16}"/></g>')
    return "".join(parts)


def _ticks(column: Column) -> list[tuple[float, str]]:
    low, high = _range(column)
    if column.unit is None:
        return [((i - low) / (high - low), shortened(level, 14)) for i, level in enumerate(column.levels)]
    factor = column.display_unit.factor
    few = column.role == "listed" and len(column.levels) <= 8
    values = column.levels if few else list(np.linspace(low, high, 5))
    return [((value - low) / (high - low), digits(value * factor, 3)) for value in values]


def _wrapped(text: str) -> list[str]:
    lines = [""]
    for word in text.split():
        if lines[-1] and len(lines[-1]) + 1 + len(word) > _TITLE_WIDTH:
            lines.append(word)
        else:
            lines[-1] = f"{lines[-1]} {word}".strip()
    return lines[:4]
