# SPDX-License-Identifier: MIT
"""Curves of a path and their annotations: markers of states, requirements, reference values and stages."""

import textwrap
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from annelid.geometry.body import FloatArray
from annelid.results.figures import svg_style as style
from annelid.results.folder.tables import PathRecord
from annelid.solver.display import DisplayUnit, digits
from annelid.solver.model.quantity import Quantity

if TYPE_CHECKING:
    from matplotlib.axes import Axes

_LETTERS = 52  # number of letters that fit below a panel


def draw_states(
    axes: "Axes", table: PathRecord, rows: NDArray[np.int64], x: FloatArray, y: FloatArray
) -> None:
    """Draw a curve with a marker for each state.

    Stable states are dots, unstable states are hollow, states past a limit of the material are crosses, and
    critical points are diamonds. Unstable parts of the curve are dotted; their markers are circles, or
    squares if they are unstable under the control in force as well. Jumps are arrows.
    """
    unstable, broken = table.unstable[rows], table.past_limit[rows]
    uncontrolled = table.unstable_under_control[rows]
    _draw_line(axes, table, rows, x, y)
    stable = ~unstable & ~broken
    axes.plot(x[stable], y[stable], "o", color=style.ACCENT, markersize=3.2, zorder=3)
    hollow: dict[str, Any] = {
        "markerfacecolor": style.CARD,
        "markeredgecolor": style.WARNING,
        "markeredgewidth": 1.4,
    }
    for chosen, shape, size in ((unstable & ~uncontrolled, "o", 5.0), (uncontrolled, "s", 4.6)):
        axes.plot(x[chosen], y[chosen], shape, markersize=size, zorder=4, **hollow)
    critical = table.is_critical[rows]
    axes.plot(x[critical], y[critical], "D", color=style.INK, markersize=5.2, zorder=6)
    axes.plot(x[broken], y[broken], "x", color=style.FAILURE, markersize=5.5, markeredgewidth=1.6, zorder=7)


def stability_levels(table: PathRecord) -> NDArray[np.int64]:
    """Return the stability of the step to each row: 0 stable, 1 stable under its control, 2 unstable.

    A critical point has the stability of the step before it, so that the stability of the step after it
    depends only on the next state.
    """
    own = np.maximum(table.unstable.astype(int), 2 * table.unstable_under_control)
    before = np.where(table.is_critical, own * 0, own)
    return np.maximum(own, np.concatenate([own[:1], before[:-1]]))


def _draw_line(
    axes: "Axes", table: PathRecord, rows: NDArray[np.int64], x: FloatArray, y: FloatArray
) -> None:
    """Draw the line from state to state, with the line style of the stability of each step."""
    lines: tuple[dict[str, Any], ...] = (
        {"color": style.ACCENT},
        {"color": style.WARNING, "linestyle": (0, (1, 1.6)), "linewidth": 1.8},
        {"color": style.WARNING, "linestyle": (0, (1, 1.6)), "linewidth": 1.5, "alpha": 0.75},
    )
    kind = np.where(table.after_jump, -1, stability_levels(table))[rows[1:]]
    edges = np.flatnonzero(np.diff(kind)) + 1
    for steps in np.split(np.arange(len(kind)), edges):
        if steps.size == 0:
            continue
        if kind[steps[0]] >= 0:
            ends = np.append(steps, steps[-1] + 1)
            axes.plot(x[ends], y[ends], zorder=2, solid_capstyle="round", **lines[kind[steps[0]]])
            continue
        for i in steps:
            draw_jump(axes, (x[i], y[i]), (x[i + 1], y[i + 1]))


def draw_jump(axes: "Axes", start: tuple[float, float], end: tuple[float, float]) -> None:
    """Draw a thin arrow from the state before a jump to that behind it."""
    # The invisible line makes the axes include the arrow.
    axes.plot(*zip(start, end, strict=True), color="none")
    arrow = {"arrowstyle": "-|>", "color": style.INK, "linewidth": 0.8}
    arrow |= {"shrinkA": 3.0, "shrinkB": 2.5, "mutation_scale": 9.0}
    axes.annotate("", end, start, arrowprops=arrow, zorder=5)


def number_critical_points(
    axes: "Axes", table: PathRecord, rows: NDArray[np.int64], x: FloatArray, y: FloatArray
) -> None:
    """Write its number beside each critical point."""
    for number, row in enumerate(np.flatnonzero(table.is_critical), start=1):
        for i in np.flatnonzero(rows == row):
            if np.isfinite(y[i]):
                axes.annotate(
                    str(number),
                    (x[i], y[i]),
                    xytext=(0, 7),
                    textcoords="offset points",
                    ha="center",
                    va="bottom",
                    fontsize=8,
                    fontweight="bold",
                    color=style.INK,
                    zorder=8,
                )


def set_vertical_range(
    axes: "Axes", quantity: Quantity | None, values: FloatArray, limits: list[float]
) -> None:
    """Set a vertical range that includes the requirements and respects the plot limit of the quantity."""
    finite = values[np.isfinite(values)]
    visible = np.concatenate([finite, limits])
    if visible.size == 0:
        return
    low, high = float(visible.min()), float(visible.max())
    if quantity is not None and quantity.plot_limit is not None:
        reference = quantity.reference[0] if quantity.reference else 1.0
        smallest = float(finite.min()) if finite.size else reference
        low = min(low, 0.9 * reference)
        high = min(high, max(quantity.plot_limit * max([reference, *limits]), 1.3 * smallest))
    low, high = style.without_noise(low, high)
    room = 0.08 * (high - low)
    axes.set_ylim(low - room, high + 1.6 * room)


def mark_cut(axes: "Axes", values: FloatArray) -> None:
    """State how far a curve continues above the axes, at the side that is farther from where it does."""
    top = axes.get_ylim()[1]
    above = np.flatnonzero(np.nan_to_num(values) > top)
    if above.size:
        at_right = above[0] < len(values) / 2
        axes.text(
            1.0 if at_right else 0.02,
            0.99,
            f"continues to {digits(float(np.nanmax(values)), 3)}",
            transform=axes.transAxes,
            ha="right" if at_right else "left",
            va="top",
            color=style.MUTED,
            fontsize=8,
        )


def draw_limit(
    axes: "Axes", limit: float, is_lower_limit: bool, unit: DisplayUnit, values: FloatArray
) -> None:
    """Draw a requirement as a line with a label, and shade its safe side."""
    bottom, top = axes.get_ylim()
    safe = (limit, top) if is_lower_limit else (bottom, limit)
    axes.axhspan(*safe, color=style.SUCCESS, alpha=0.10, linewidth=0, zorder=0)
    axes.axhline(limit, color=style.SUCCESS, linewidth=1.2, linestyle=(0, (5, 3)), zorder=1)
    axes.set_ylim(bottom, top)
    _label_level(
        axes,
        limit,
        f"{'at least' if is_lower_limit else 'at most'} {unit.behind(digits(limit))}",
        style.SUCCESS,
        values,
    )


def draw_reference(
    axes: "Axes", quantity: Quantity | None, factor: float, values: FloatArray, *, below: bool
) -> None:
    """Draw the reference value of a quantity, if it has one, with its label."""
    if quantity is not None and quantity.reference is not None:
        value, label = quantity.reference
        axes.axhline(value * factor, color=style.FAILURE, linewidth=1.0, linestyle=(0, (1, 2)))
        _label_level(axes, value * factor, label, style.FAILURE, values, below=below)


def _label_level(
    axes: "Axes", height: float, text: str, colour: str, values: FloatArray, *, below: bool = False
) -> None:
    """Write a label above or below a horizontal line, at the end that is farther from the curve."""
    third = max(1, len(values) // 3)
    distances = [np.abs(part[np.isfinite(part)] - height) for part in (values[:third], values[-third:])]
    left, right = (float(np.min(d, initial=np.inf)) for d in distances)
    at_left = left > right
    axes.annotate(
        text,
        (0.0 if at_left else 1.0, height),
        xycoords=axes.get_yaxis_transform(),
        xytext=(4 if at_left else -2, -2 if below else 2),
        textcoords="offset points",
        ha="left" if at_left else "right",
        va="top" if below else "bottom",
        color=colour,
        fontsize=8,
    )


def label_stages(axes: "Axes", table: PathRecord) -> None:
    """Write the names of the stages below the whole path, and separate the stages by lines."""
    stages = list(dict.fromkeys(table.stages))
    width = max(1, _LETTERS // len(stages))
    wrapped = [textwrap.fill(stage, width, break_long_words=False) for stage in stages]
    upright = any(len(line) > width for name in wrapped for line in name.splitlines())
    axes.set_xticks(
        np.arange(len(stages)) + 0.5,
        stages if upright else wrapped,
        fontsize=8,
        rotation=90 if upright else 0,
    )
    axes.set_xlim(-0.04, len(stages) + 0.04)
    axes.tick_params(axis="x", length=0)
    axes.grid(visible=False, axis="x")
    for edge in range(1, len(stages)):
        axes.axvline(edge, color=style.LINE, linewidth=1.0, zorder=0)
