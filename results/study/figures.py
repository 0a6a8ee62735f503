# SPDX-License-Identifier: MIT
"""Figures of a study: responses, maps of the feasible region, and Pareto fronts."""

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from annelid.geometry.body import FloatArray
from annelid.results.figures import svg_style as style
from annelid.results.figures.path_figures import SvgFigure
from annelid.results.study.markers import axis_range, draw_limits, label_axis, plot_failures, plot_runs
from annelid.results.study.study_data import Column, StudyData, shortened
from annelid.solver.display import capitalised, digits
from annelid.solver.model.quantities import MARGINS

if TYPE_CHECKING:
    from matplotlib.axes import Axes

_PANEL = (3.9, 2.8)
_DIGITS = range(4, 13)  # of a value in a label; values of a study have at most 12
_MOST_LINES = 5  # more lines in a figure could not be distinguished
_LARGEST_MARGIN = 6.0  # over the smallest margin; margins are unbounded at low loads


def response(
    data: StudyData,
    quantity: Column,
    abscissa: Column,
    lines: Column | None,
    rows: NDArray[np.int64],
    *,
    title: str,
    name: str,
) -> SvgFigure:
    """Draw a quantity against a variable.

    Args:
        data: The study.
        quantity: Quantity on the ordinate.
        abscissa: Variable on the abscissa.
        lines: Variable that distinguishes the lines; ``None`` for points without lines.
        rows: Numbers of the runs that are drawn.
        title: Values that these runs have in common.
        name: Prefix of the ids of the SVG.
    """
    limits = data.limits.get(quantity.name, ())
    factor = quantity.display_unit.factor
    x = _values(abscissa)[rows]
    y = quantity.numbers[rows] * factor
    with style.new_figure(*_PANEL) as (figure, axes):
        if lines is not None:
            _lines(axes, data, lines, rows, x, y)
        plot_runs(axes, data, rows, x, y)
        axes.margins(x=0.05)
        # All panels of a quantity show the same range.
        axes.set_ylim(*axis_range(_bounded(quantity) * factor, limits, factor))
        draw_limits(axes, limits, factor, quantity.display_unit.name)
        plot_failures(axes, data, rows, x)
        label_axis(axes, abscissa)
        axes.set_title(title or quantity.label)
        if title:
            axes.set_ylabel(quantity.label)
        label = f"{quantity.name} against {abscissa.title}"
        return SvgFigure(style.svg_text(figure, name, label), label)


def feasible_map(
    data: StudyData, abscissa: Column, ordinate: Column, rows: NDArray[np.int64], *, title: str, name: str
) -> SvgFigure:
    """Draw the runs in the plane of two variables, and shade where all requirements are met.

    Args:
        data: The study.
        abscissa: Variable on the abscissa.
        ordinate: Variable on the ordinate.
        rows: Numbers of the runs that are drawn.
        title: Values that these runs have in common.
        name: Prefix of the ids of the SVG.
    """
    x, y = _values(abscissa), _values(ordinate)
    with style.new_figure(*_PANEL) as (figure, axes):
        if abscissa.role == ordinate.role == "listed":
            _shade_cells(axes, x, y, rows[data.is_in("met")[rows]])
        plot_runs(axes, data, rows, x[rows], y[rows])
        axes.margins(0.08)
        label_axis(axes, abscissa)
        label_axis(axes, ordinate, vertical=True)
        if title:
            axes.set_title(title)
        label = f"Where all requirements are met: {abscissa.title} and {ordinate.title}"
        return SvgFigure(style.svg_text(figure, name, label), label)


def front_figure(data: StudyData, pair: tuple[str, str], *, name: str) -> SvgFigure:
    """Draw two objectives against each other, with rings around the runs on the Pareto front."""
    columns = [data.column(quantity) for quantity in pair]
    x, y = (column.numbers * column.display_unit.factor for column in columns)
    rows = np.arange(len(x))
    front = np.array(data.front, dtype=np.int64)
    with style.new_figure(5.4, 3.6) as (figure, axes):
        if len(data.objectives) == 2 and front.size > 1:
            order = front[np.argsort(x[front])]
            axes.plot(x[order], y[order], color=style.ACCENT, linewidth=1.2, alpha=0.6, zorder=2)
        plot_runs(axes, data, rows, x, y)
        axes.scatter(x[front], y[front], s=64, facecolor="none", edgecolor=style.INK, linewidth=1.1, zorder=5)
        axes.set_xlim(*axis_range(x, data.limits.get(pair[0], ()), columns[0].display_unit.factor))
        axes.set_ylim(*axis_range(y, data.limits.get(pair[1], ()), columns[1].display_unit.factor))
        for column, upright in zip(columns, (True, False), strict=True):
            limits = data.limits.get(column.name, ())
            unit = column.display_unit
            draw_limits(axes, limits, unit.factor, unit.name, upright=upright)
        axes.set_xlabel(f"{columns[0].label}, {_aim(data, pair[0])}")
        axes.set_ylabel(f"{columns[1].label}, {_aim(data, pair[1])}")
        label = f"{pair[1]} against {pair[0]}; ringed runs are on the Pareto front"
        return SvgFigure(style.svg_text(figure, name, label), capitalised(label) + ".")


def level_label(column: Column, level: object) -> str:
    """Return a value of a column as text: ``"sheets 4"``, ``"voltage 1.5 kV"``.

    The texts of different values differ: they have more digits or letters where this is necessary.
    """
    unit = column.display_unit

    def text(value: object, length: int) -> str:
        if column.unit is None:
            return shortened(value) if length == _DIGITS[0] else str(value)
        return f"{digits(float(str(value)) * unit.factor, length)} {unit.name}".strip()

    lengths = (n for n in _DIGITS if len({text(value, n) for value in column.levels}) == len(column.levels))
    return f"{column.title} {text(level, next(lengths, _DIGITS[-1]))}"


def choose_levels(levels: Sequence[object], count: int) -> list[object]:
    """Choose at most ``count`` of the levels, evenly spaced and with the first and the last."""
    if len(levels) <= count:
        return list(levels)
    return [levels[round(i)] for i in np.linspace(0, len(levels) - 1, count)]


def _lines(
    axes: "Axes", data: StudyData, lines: Column, rows: NDArray[np.int64], x: FloatArray, y: FloatArray
) -> None:
    numbers = lines.numbers[rows]
    levels = lines.levels
    chosen = choose_levels(levels, _MOST_LINES)
    for i, level in enumerate(chosen):
        value = levels.index(level) if lines.unit is None else float(str(level))
        members = np.flatnonzero((numbers == value) & np.isfinite(y) & ~data.is_in("failed", "stopped")[rows])
        members = members[np.argsort(x[members])]
        colour = style.SERIES[i % len(style.SERIES)]
        label = level_label(lines, level)
        axes.plot(x[members], y[members], label=label, color=colour, linewidth=1.4, zorder=3)
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


def _shade_cells(axes: "Axes", x: FloatArray, y: FloatArray, rows: NDArray[np.int64]) -> None:
    """Shade the cells of the grid around runs."""
    from matplotlib.patches import Rectangle

    edges = [_edges(np.unique(values)) for values in (x, y)]
    for row in rows:
        corner, size = [], []
        for values, (low, high) in zip((x, y), edges, strict=True):
            i = int(np.searchsorted(np.unique(values), values[row]))
            corner.append(float(low[i]))
            size.append(float(high[i] - low[i]))
        axes.add_patch(
            Rectangle((corner[0], corner[1]), *size, color=style.SUCCESS, alpha=0.14, linewidth=0, zorder=0)
        )


def _edges(levels: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Lower and upper end of the cell around each level."""
    if len(levels) < 2:
        return levels - 0.5, levels + 0.5
    middle = 0.5 * (levels[1:] + levels[:-1])
    first, last = levels[0] - (middle[0] - levels[0]), levels[-1] + (levels[-1] - middle[-1])
    ends = np.concatenate([[first], middle, [last]])
    return ends[:-1], ends[1:]


def _values(column: Column) -> FloatArray:
    """Numbers of a column in display units."""
    return column.numbers * (column.display_unit.factor if column.unit else 1.0)


def _bounded(quantity: Column) -> FloatArray:
    """Values for the range of an axis, without the largest margins of breakdown or tearing."""
    values = quantity.numbers
    if quantity.name in MARGINS:
        largest = _LARGEST_MARGIN * max(1.0, float(np.nanmin(values, initial=np.inf)))
        values = np.where(values < largest, values, np.nan)
    return values


def _aim(data: StudyData, quantity: str) -> str:
    return "larger is better" if data.objectives[quantity] == "maximise" else "smaller is better"
