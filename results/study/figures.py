# SPDX-License-Identifier: MIT
"""Figures of a study: responses with the feasible region, maps of it, and Pareto fronts."""

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from annelid.results.figures import svg_style as style
from annelid.results.figures.path_figures import Figure
from annelid.results.study.marks import bounds, mark_failures, mark_runs, scale, tint_limits
from annelid.results.study.records import Column, StudyData, short
from annelid.solver.display import digits

if TYPE_CHECKING:
    from matplotlib.axes import Axes

FloatArray = NDArray[np.float64]

_PANEL = (3.9, 2.8)
_MOST_LINES = 5  # lines in a figure: more cannot be told apart


def response(
    data: StudyData,
    quantity: Column,
    across: Column,
    lines: Column | None,
    rows: NDArray[np.int64],
    *,
    title: str,
    name: str,
) -> Figure:
    """Draw a quantity against something that varies.

    Args:
        data: The study.
        quantity: What is drawn.
        across: What runs along the abscissa.
        lines: What tells lines apart; ``None`` for points alone.
        rows: Numbers of the runs that are drawn.
        title: What is the same in all of them.
        name: Prefix of the ids of the SVG.
    """
    limits = data.limits.get(quantity.name, ())
    factor = quantity.shown.factor
    x = (across.numbers * (across.shown.factor if across.unit else 1.0))[rows]
    y = quantity.numbers[rows] * factor
    with style.drawing(*_PANEL) as (figure, axes):
        if lines is not None:
            _lines(axes, data, lines, rows, x, y)
        mark_runs(axes, data, rows, x, y)
        axes.margins(x=0.05)
        # All panels of a quantity show the same range.
        axes.set_ylim(*bounds(_kept(quantity) * factor, limits, factor))
        tint_limits(axes, limits, factor, quantity.shown.name)
        mark_failures(axes, data, rows, x)
        scale(axes, across)
        axes.set_title(title or quantity.label)
        if title:
            axes.set_ylabel(quantity.label)
        label = f"{quantity.name} against {across.name}"
        return Figure(style.svg_text(figure, name, label), label)


def feasible_map(
    data: StudyData, across: Column, up: Column, rows: NDArray[np.int64], *, title: str, name: str
) -> Figure:
    """Draw where in the plane of two variables all requirements are met.

    Args:
        data: The study.
        across: Variable along the abscissa.
        up: Variable along the ordinate.
        rows: Numbers of the runs that are drawn.
        title: What is the same in all of them.
        name: Prefix of the ids of the SVG.
    """
    x, y = (c.numbers * (c.shown.factor if c.unit else 1.0) for c in (across, up))
    with style.drawing(*_PANEL) as (figure, axes):
        if across.role == up.role == "listed":
            _tint_cells(axes, x, y, rows[data.rows("met")[rows]])
        mark_runs(axes, data, rows, x[rows], y[rows])
        axes.margins(0.08)
        scale(axes, across)
        scale(axes, up, upright=True)
        if title:
            axes.set_title(title)
        label = f"Where all requirements are met: {across.name} and {up.name}"
        return Figure(style.svg_text(figure, name, label), label)


def front_figure(data: StudyData, pair: tuple[str, str], *, name: str) -> Figure:
    """Draw two objectives against each other, with the runs that nothing beats in all of them."""
    columns = [data.column(quantity) for quantity in pair]
    x, y = (column.numbers * column.shown.factor for column in columns)
    everything = np.arange(len(x))
    best = np.array(data.front, dtype=np.int64)
    with style.drawing(5.4, 3.6) as (figure, axes):
        if len(data.objectives) == 2 and best.size > 1:
            order = best[np.argsort(x[best])]
            axes.plot(x[order], y[order], color=style.ACCENT, linewidth=1.2, alpha=0.6, zorder=2)
        mark_runs(axes, data, everything, x, y)
        axes.scatter(x[best], y[best], s=64, facecolor="none", edgecolor=style.INK, linewidth=1.1, zorder=5)
        axes.set_xlim(*bounds(x, data.limits.get(pair[0], ()), columns[0].shown.factor))
        axes.set_ylim(*bounds(y, data.limits.get(pair[1], ()), columns[1].shown.factor))
        for column, upright in zip(columns, (True, False), strict=True):
            limits = data.limits.get(column.name, ())
            tint_limits(axes, limits, column.shown.factor, column.shown.name, upright=upright)
        axes.set_xlabel(f"{columns[0].label}, {_aim(data, pair[0])}")
        axes.set_ylabel(f"{columns[1].label}, {_aim(data, pair[1])}")
        label = f"{pair[1]} against {pair[0]}; ringed runs are on the Pareto front"
        return Figure(style.svg_text(figure, name, label), label[:1].upper() + label[1:] + ".")


def level_words(column: Column, level: object) -> str:
    """A value of a column in words: ``"sheets 4"``, ``"voltage 1.5 kV"``."""
    words = column.name.replace("_", " ")
    if column.unit is None:
        return f"{words} {short(level)}"
    shown = column.shown
    return f"{words} {digits(float(str(level)) * shown.factor)} {shown.name}".strip()


def spread_levels(levels: Sequence[object], most: int) -> list[object]:
    """At most so many of the levels, evenly chosen, with the first and the last."""
    if len(levels) <= most:
        return list(levels)
    return [levels[round(i)] for i in np.linspace(0, len(levels) - 1, most)]


def _lines(
    axes: "Axes", data: StudyData, lines: Column, rows: NDArray[np.int64], x: FloatArray, y: FloatArray
) -> None:
    numbers = lines.numbers[rows]
    levels = lines.levels
    chosen = spread_levels(levels, _MOST_LINES)
    for i, level in enumerate(chosen):
        value = levels.index(level) if lines.unit is None else float(str(level))
        mine = np.flatnonzero((numbers == value) & np.isfinite(y) & ~data.rows("failed", "short")[rows])
        mine = mine[np.argsort(x[mine])]
        look: dict[str, Any] = {"color": style.SERIES[i % len(style.SERIES)], "linewidth": 1.4, "zorder": 3}
        axes.plot(x[mine], y[mine], label=level_words(lines, level), **look)
    if len(chosen) > 1:
        axes.legend(
            fontsize=7.5,
            loc="best",
            handlelength=1.2,
            labelspacing=0.25,
            frameon=True,
            facecolor=style.CARD,
            edgecolor="none",
            framealpha=0.85,
        )


def _tint_cells(axes: "Axes", x: FloatArray, y: FloatArray, good: NDArray[np.int64]) -> None:
    """Tint the cell of the grid around every good run."""
    from matplotlib.patches import Rectangle

    edges = [_edges(np.unique(values)) for values in (x, y)]
    for row in good:
        corner, size = [], []
        for values, (low, high) in zip((x, y), edges, strict=True):
            i = int(np.searchsorted(np.unique(values), values[row]))
            corner.append(float(low[i]))
            size.append(float(high[i] - low[i]))
        axes.add_patch(
            Rectangle((corner[0], corner[1]), *size, color=style.GOOD, alpha=0.14, linewidth=0, zorder=0)
        )


def _edges(levels: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Lower and upper end of the cell around each level."""
    if len(levels) < 2:
        return levels - 0.5, levels + 0.5
    middle = 0.5 * (levels[1:] + levels[:-1])
    first, last = levels[0] - (middle[0] - levels[0]), levels[-1] + (levels[-1] - middle[-1])
    ends = np.concatenate([[first], middle, [last]])
    return ends[:-1], ends[1:]


def _kept(quantity: Column) -> FloatArray:
    """Values that a figure must show: a breakdown margin is unbounded where there is little voltage."""
    values = quantity.numbers
    if quantity.name == "breakdown margin":
        values = np.where(values < 6.0 * max(1.0, float(np.nanmin(values, initial=np.inf))), values, np.nan)
    return values


def _aim(data: StudyData, quantity: str) -> str:
    return "larger is better" if data.objectives[quantity] == "maximise" else "smaller is better"
