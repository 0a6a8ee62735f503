# SPDX-License-Identifier: MIT
"""How runs are drawn in the figures of a study: one mark a run, linked to its report."""

from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from annelid.results.figures import svg_style as style
from annelid.results.study.records import Bound, Column, Mark, StudyData, short
from annelid.solver.display import digits

if TYPE_CHECKING:
    from matplotlib.axes import Axes

FloatArray = NDArray[np.float64]

_LOOKS: dict[Mark, dict[str, Any]] = {
    "met": {"marker": "o", "facecolor": style.ACCENT, "edgecolor": style.ACCENT, "linewidth": 0.8, "s": 20},
    "missed": {"marker": "o", "facecolor": style.CARD, "edgecolor": style.MUTED, "linewidth": 1.1, "s": 20},
    "short": {"marker": "s", "facecolor": style.CARD, "edgecolor": style.WARN, "linewidth": 1.3, "s": 20},
    "unstable": {"marker": "^", "facecolor": style.CARD, "edgecolor": style.WARN, "linewidth": 1.3, "s": 26},
    "failed": {"marker": "x", "color": style.BAD, "linewidth": 1.5, "s": 24},
}


def mark_runs(axes: "Axes", data: StudyData, rows: NDArray[np.int64], x: FloatArray, y: FloatArray) -> None:
    """Draw runs as marks that lead to their reports.

    Args:
        axes: Where to draw.
        data: The study.
        rows: Numbers of the runs.
        x: Abscissa of each of these, as shown; NaN leaves the run out.
        y: Ordinate of each.
    """
    marks = np.array(data.marks)[rows]
    for mark, look in _LOOKS.items():
        chosen = np.flatnonzero((marks == mark) & np.isfinite(x) & np.isfinite(y))
        if chosen.size == 0:
            continue
        drawn = axes.scatter(x[chosen], y[chosen], zorder=5 if mark == "met" else 4, clip_on=False, **look)
        drawn.set_urls([data.links[rows[i]] or None for i in chosen])


def mark_failures(axes: "Axes", data: StudyData, rows: NDArray[np.int64], x: FloatArray) -> None:
    """Draw runs without a result as crosses on the lower edge."""
    chosen = np.flatnonzero((np.array(data.marks)[rows] == "failed") & np.isfinite(x))
    if chosen.size:
        transform = axes.get_xaxis_transform()
        look = _LOOKS["failed"]
        axes.scatter(
            x[chosen], np.full(chosen.size, 0.015), transform=transform, clip_on=False, zorder=5, **look
        )


def tint_limits(
    axes: "Axes", limits: tuple[Bound, ...], factor: float, unit: str, *, upright: bool = False
) -> None:
    """Draw requirements as lines, and tint what all of them allow.

    Args:
        axes: Where to draw; its limits are kept.
        limits: Requirements on what is drawn along the axis.
        factor: From the unit inside to the one shown.
        unit: The unit shown.
        upright: Whether the quantity runs along the abscissa.
    """
    from matplotlib.patheffects import withStroke

    if not limits:
        return
    low, high = axes.get_xlim() if upright else axes.get_ylim()
    floors = [limit.value * factor for limit in limits if limit.is_floor]
    ceilings = [limit.value * factor for limit in limits if not limit.is_floor]
    safe = max([low, *floors]), min([high, *ceilings])
    span, line = (axes.axvspan, axes.axvline) if upright else (axes.axhspan, axes.axhline)
    if safe[0] < safe[1]:
        span(*safe, color=style.GOOD, alpha=0.10, linewidth=0, zorder=0)
    for limit in limits:
        value = limit.value * factor
        line(value, color=style.GOOD, linewidth=1.2, linestyle=(0, (5, 3)), zorder=1)
        text = f"{'at least' if limit.is_floor else 'at most'} {digits(value)} {unit}".strip()
        where = (value, 1.0) if upright else (1.0, value)
        axes.annotate(
            text,
            where,
            xycoords=axes.get_xaxis_transform() if upright else axes.get_yaxis_transform(),
            xytext=(2, -2) if upright else (-2, 2),
            textcoords="offset points",
            ha="left" if upright else "right",
            va="top" if upright else "bottom",
            rotation=90 if upright else 0,
            color=style.GOOD,
            fontsize=8,
            path_effects=[withStroke(linewidth=2.5, foreground=style.CARD, alpha=0.85)],
            zorder=6,
        )
    (axes.set_xlim if upright else axes.set_ylim)(low, high)


def scale(axes: "Axes", column: Column, *, upright: bool = False) -> None:
    """Label an axis with a column; words take the place of numbers."""
    axis = axes.yaxis if upright else axes.xaxis
    axis.set_label_text(column.label)
    if column.unit is None:
        axis.set_ticks(range(len(column.levels)), [short(level) for level in column.levels])
    elif column.role == "listed" and len(column.levels) <= 6:
        axis.set_ticks([level * column.shown.factor for level in column.levels])


def bounds(values: FloatArray, limits: tuple[Bound, ...], factor: float) -> tuple[float, float]:
    """Range that shows values (as shown) and limits, with some room."""
    seen = np.concatenate([values[np.isfinite(values)], [limit.value * factor for limit in limits]])
    if seen.size == 0:
        return 0.0, 1.0
    low, high = float(seen.min()), float(seen.max())
    room = 0.08 * (high - low) or 0.05 * max(abs(high), 1e-3)
    return low - room, high + 1.3 * room
