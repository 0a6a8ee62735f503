# SPDX-License-Identifier: MIT
"""Parallel coordinates of a study: a line a run, from what varied to what came of it; axes can be brushed."""

from html import escape
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from annelid.results.study.records import MARKS, Column, StudyData, short
from annelid.solver.display import digits

__all__ = ["Parallel", "parallel_coordinates"]

_STEP, _TOP, _HEIGHT, _SIDE = 128, 66, 230, 62
_MOST = 2000  # lines; more are a blot, and slow to draw
_HEAD = 17  # letters of a heading in a line

FloatArray = NDArray[np.float64]


class Parallel(NamedTuple):
    """The drawing, and for the page's own code the places of every drawn run on the axes."""

    svg: str
    places: list[list[float | None]]
    rows: list[int]
    omitted: int


def parallel_coordinates(data: StudyData, columns: list[Column]) -> Parallel:
    """Draw every run as a line through parallel axes.

    Args:
        data: The study.
        columns: The axes, from left to right.

    Returns:
        Inline SVG, empty without axes. Places are parts of the height, 0 at the lower end, ``None`` where a
        run has no value.
    """
    if not columns:
        return Parallel("", [], [], 0)
    places = np.array([_places(column) for column in columns]).T
    rows = np.arange(len(data.ids))
    if len(rows) > _MOST:
        rows = rows[np.linspace(0, len(rows) - 1, _MOST).astype(int)]
    order = [int(row) for mark in reversed(MARKS) for row in rows if data.marks[row] == mark]
    width = 2 * _SIDE + _STEP * (len(columns) - 1)
    parts = [
        f'<svg class="parallel" role="img" viewBox="0 0 {width} {_TOP + _HEIGHT + 26}">',
        "<title>Runs as lines through what varied and what came of it</title>",
        *(_line(data, row, places[row]) for row in order),
        *(_axis(number, column) for number, column in enumerate(columns)),
        "</svg>",
    ]
    kept = [[None if np.isnan(p) else round(float(p), 4) for p in places[row]] for row in order]
    return Parallel("".join(parts), kept, order, len(data.ids) - len(rows))


def _places(column: Column) -> FloatArray:
    numbers = column.numbers
    low, high = _range(column)
    return np.where(np.isfinite(numbers), np.clip((numbers - low) / (high - low), 0.0, 1.0), np.nan)


def _range(column: Column) -> tuple[float, float]:
    numbers = column.numbers
    finite = numbers[np.isfinite(numbers)]
    if finite.size == 0:
        return 0.0, 1.0
    low, high = float(finite.min()), float(finite.max())
    if column.name == "breakdown margin":
        high = min(high, 6.0 * max(1.0, low))  # unbounded where there is little voltage
    return (low - 0.5, high + 0.5) if low == high else (low, high)


def _line(data: StudyData, row: int, places: FloatArray) -> str:
    points, pen = [], "M"
    for number, place in enumerate(places):
        if np.isnan(place):
            pen = "M"
            continue
        points.append(f"{pen}{_SIDE + _STEP * number} {_TOP + _HEIGHT * (1.0 - place):.1f}")
        pen = "L"
    title = f"{data.ids[row]}: {data.words[row] or data.kinds[row]}"
    path = f'<path class="run {data.marks[row]}" d="{"".join(points)}"><title>{escape(title)}</title></path>'
    link = data.links[row]
    return f'<a href="{escape(link)}">{path}</a>' if link else path


def _axis(number: int, column: Column) -> str:
    x = _SIDE + _STEP * number
    kind = "quantity" if column.role == "quantity" else "varied"
    parts = [f'<g class="axis {kind}" data-axis="{number}" transform="translate({x} {_TOP})">']
    lines = _wrapped(column.label)
    for i, line in enumerate(lines):
        parts.append(f'<text class="head" y="{-14 - 13 * (len(lines) - 1 - i)}">{escape(line)}</text>')
    parts.append(f'<line y2="{_HEIGHT}"/>')
    for place, text in _ticks(column):
        y = _HEIGHT * (1.0 - place)
        parts.append(f'<line x1="-4" x2="0" y1="{y:.1f}" y2="{y:.1f}"/>')
        parts.append(f'<text class="tick" x="-7" y="{y + 3.5:.1f}">{escape(text)}</text>')
    parts.append(f'<rect class="brush" x="-9" width="18" height="{_HEIGHT}" visibility="hidden"/>')
    parts.append(f'<rect class="grip" x="-16" y="-8" width="32" height="{_HEIGHT + 16}"/></g>')
    return "".join(parts)


def _ticks(column: Column) -> list[tuple[float, str]]:
    low, high = _range(column)
    if column.unit is None:
        return [((i - low) / (high - low), short(level, 14)) for i, level in enumerate(column.levels)]
    factor = column.shown.factor
    few = column.role == "listed" and len(column.levels) <= 8
    values = column.levels if few else list(np.linspace(low, high, 5))
    return [((value - low) / (high - low), digits(value * factor, 3)) for value in values]


def _wrapped(text: str) -> list[str]:
    lines = [""]
    for word in text.split():
        if lines[-1] and len(lines[-1]) + 1 + len(word) > _HEAD:
            lines.append(word)
        else:
            lines[-1] = f"{lines[-1]} {word}".strip()
    return lines[:4]
