# SPDX-License-Identifier: MIT
"""Markers of runs, limits and axis labels in the figures of a study."""

from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from annelid.geometry.body import FloatArray
from annelid.results.figures import svg_style as style
from annelid.results.study.study_data import Category, Column, QuantityLimit, StudyData, shortened
from annelid.solver.display import digits

if TYPE_CHECKING:
    from matplotlib.axes import Axes

_MARKERS: dict[Category, dict[str, Any]] = {
    "met": {"marker": "o", "facecolor": style.ACCENT, "edgecolor": style.ACCENT, "linewidth": 0.8, "s": 20},
    "missed": {"marker": "o", "facecolor": style.CARD, "edgecolor": style.MUTED, "linewidth": 1.1, "s": 20},
    "stopped": {
        "marker": "s",
        "facecolor": style.CARD,
        "edgecolor": style.WARNING,
        "linewidth": 1.3,
        "s": 20,
    },
    "unstable": {
        "marker": "^",
        "facecolor": style.CARD,
        "edgecolor": style.WARNING,
        "linewidth": 1.3,
        "s": 26,
    },
    "failed": {"marker": "x", "color": style.FAILURE, "linewidth": 1.5, "s": 24},
}


def plot_runs(axes: "Axes", data: StudyData, rows: NDArray[np.int64], x: FloatArray, y: FloatArray) -> None:
    """Draw runs as markers with links to their reports.

    Args:
        axes: Axes of the figure.
        data: The study.
        rows: Numbers of the runs.
        x: Abscissa of each of these runs in display units; runs with NaN are not drawn.
        y: Ordinate of each of these runs.
    """
    categories = np.array(data.categories)[rows]
    for category, marker in _MARKERS.items():
        chosen = np.flatnonzero((categories == category) & np.isfinite(x) & np.isfinite(y))
        if chosen.size == 0:
            continue
        zorder = 5 if category == "met" else 4
        points = axes.scatter(x[chosen], y[chosen], zorder=zorder, clip_on=False, **marker)
        points.set_urls([data.links[rows[i]] or None for i in chosen])


def plot_failures(axes: "Axes", data: StudyData, rows: NDArray[np.int64], x: FloatArray) -> None:
    """Draw runs without a result as crosses on the abscissa."""
    chosen = np.flatnonzero((np.array(data.categories)[rows] == "failed") & np.isfinite(x))
    if chosen.size:
        transform = axes.get_xaxis_transform()
        marker = _MARKERS["failed"]
        y = np.full(chosen.size, 0.015)
        axes.scatter(x[chosen], y, transform=transform, clip_on=False, zorder=5, **marker)


def draw_limits(
    axes: "Axes", limits: tuple[QuantityLimit, ...], factor: float, unit: str, *, upright: bool = False
) -> None:
    """Draw requirements as lines, and shade the range that meets all of them.

    Args:
        axes: Axes of the figure; their ranges do not change.
        limits: Requirements on the quantity of the axis.
        factor: Factor from the internal unit to the display unit.
        unit: The display unit.
        upright: Whether the quantity is on the abscissa, so that the lines are vertical.
    """
    from matplotlib.patheffects import withStroke

    if not limits:
        return
    low, high = axes.get_xlim() if upright else axes.get_ylim()
    lower = [limit.value * factor for limit in limits if limit.is_lower_limit]
    upper = [limit.value * factor for limit in limits if not limit.is_lower_limit]
    safe = max([low, *lower]), min([high, *upper])
    span, line = (axes.axvspan, axes.axvline) if upright else (axes.axhspan, axes.axhline)
    if safe[0] < safe[1]:
        span(*safe, color=style.SUCCESS, alpha=0.10, linewidth=0, zorder=0)
    for limit in limits:
        value = limit.value * factor
        line(value, color=style.SUCCESS, linewidth=1.2, linestyle=(0, (5, 3)), zorder=1)
        text = f"{'at least' if limit.is_lower_limit else 'at most'} {digits(value)} {unit}".strip()
        position = (value, 1.0) if upright else (1.0, value)
        axes.annotate(
            text,
            position,
            xycoords=axes.get_xaxis_transform() if upright else axes.get_yaxis_transform(),
            xytext=(2, -2) if upright else (-2, 2),
            textcoords="offset points",
            ha="left" if upright else "right",
            va="top" if upright else "bottom",
            rotation=90 if upright else 0,
            color=style.SUCCESS,
            fontsize=8,
            path_effects=[withStroke(linewidth=2.5, foreground=style.CARD, alpha=0.85)],
            zorder=6,
        )
    (axes.set_xlim if upright else axes.set_ylim)(low, high)


def label_axis(axes: "Axes", column: Column, *, vertical: bool = False) -> None:
    """Label the horizontal or vertical axis with the name and the values of a column."""
    axis = axes.yaxis if vertical else axes.xaxis
    axis.set_label_text(column.label)
    if column.unit is None:
        axis.set_ticks(range(len(column.levels)), [shortened(level) for level in column.levels])
    elif column.role == "listed" and len(column.levels) <= 6:
        axis.set_ticks([level * column.display_unit.factor for level in column.levels])


def axis_range(values: FloatArray, limits: tuple[QuantityLimit, ...], factor: float) -> tuple[float, float]:
    """Return a range that includes values (in display units) and limits, with a margin."""
    visible = np.concatenate([values[np.isfinite(values)], [limit.value * factor for limit in limits]])
    if visible.size == 0:
        return 0.0, 1.0
    low, high = style.without_noise(float(visible.min()), float(visible.max()))
    margin = 0.08 * (high - low)
    return low - margin, high + 1.3 * margin
