# SPDX-License-Identifier: MIT
"""Marks in the curves of a path: states, limits and their safe sides, stages."""

import textwrap
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from annelid.geometry.body import FloatArray
from annelid.results.figures import svg_style as style
from annelid.results.folder.tables import PathTable
from annelid.solver.display import digits
from annelid.solver.model import quantities as q

if TYPE_CHECKING:
    from matplotlib.axes import Axes

_LETTERS = 52  # that fit below a panel


def mark_states(
    axes: "Axes", table: PathTable, rows: NDArray[np.int64], across: FloatArray, values: FloatArray
) -> None:
    """Draw the curve; stable states are dots, unstable ones hollow, those past breakdown crossed.

    Unstable pieces are dashed, or dotted if they are unstable under the control in force too;
    jumps are arrows; critical points are diamonds.
    """
    unstable, broken = table.unstable[rows], table.past_breakdown[rows]
    unheld = table.uncontrolled[rows]
    _draw_stretches(axes, table, rows, across, values)
    stable = ~unstable & ~broken
    axes.plot(across[stable], values[stable], "o", color=style.ACCENT, markersize=3.2, zorder=3)
    hollow: dict[str, Any] = {
        "markerfacecolor": style.CARD,
        "markeredgecolor": style.WARN,
        "markeredgewidth": 1.4,
    }
    for chosen, shape, size in ((unstable & ~unheld, "o", 5.0), (unheld, "s", 4.6)):
        axes.plot(across[chosen], values[chosen], shape, markersize=size, zorder=4, **hollow)
    critical = table.is_critical[rows]
    axes.plot(across[critical], values[critical], "D", color=style.INK, markersize=5.2, zorder=6)
    axes.plot(
        across[broken], values[broken], "x", color=style.BAD, markersize=5.5, markeredgewidth=1.6, zorder=7
    )


def severity(table: PathTable) -> NDArray[np.int64]:
    """Return how unstable the path up to each row is: 0 stable, 1 stable under its control, 2 unstable.

    A critical point counts as the piece before it, so the piece after it depends on its other end alone.
    """
    own = np.maximum(table.unstable.astype(int), 2 * table.uncontrolled)
    before = np.where(table.is_critical, own * 0, own)
    return np.maximum(own, np.concatenate([own[:1], before[:-1]]))


def _draw_stretches(
    axes: "Axes", table: PathTable, rows: NDArray[np.int64], across: FloatArray, values: FloatArray
) -> None:
    """Draw the line from state to state, each piece by its stability."""
    lines: tuple[dict[str, Any], ...] = (
        {"color": style.ACCENT},
        {"color": style.WARN, "linestyle": (0, (4, 2)), "linewidth": 1.5},
        {"color": style.WARN, "linestyle": (0, (1, 1.6)), "linewidth": 1.5, "alpha": 0.75},
    )
    kind = np.where(table.after_jump, -1, severity(table))[rows[1:]]
    edges = np.flatnonzero(np.diff(kind)) + 1
    for piece in np.split(np.arange(len(kind)), edges):
        if piece.size == 0:
            continue
        if kind[piece[0]] >= 0:
            ends = np.append(piece, piece[-1] + 1)
            axes.plot(across[ends], values[ends], zorder=2, solid_capstyle="round", **lines[kind[piece[0]]])
            continue
        for i in piece:
            _draw_jump(axes, (across[i], values[i]), (across[i + 1], values[i + 1]))


def _draw_jump(axes: "Axes", start: tuple[float, float], end: tuple[float, float]) -> None:
    # An arrow does not widen the axes; an invisible line does.
    axes.plot(*zip(start, end, strict=True), color="none")
    arrow = {"arrowstyle": "-|>", "linestyle": (0, (1, 2)), "color": style.INK, "linewidth": 1.1}
    arrow |= {"shrinkA": 3.0, "shrinkB": 2.5, "mutation_scale": 11.0}
    axes.annotate("", end, start, arrowprops=arrow, zorder=5)


def number_critical_points(
    axes: "Axes", table: PathTable, rows: NDArray[np.int64], across: FloatArray, values: FloatArray
) -> None:
    """Write its number in the path beside each critical point."""
    for number, row in enumerate(np.flatnonzero(table.is_critical), start=1):
        for i in np.flatnonzero(rows == row):
            if np.isfinite(values[i]):
                axes.annotate(
                    str(number),
                    (across[i], values[i]),
                    xytext=(0, 7),
                    textcoords="offset points",
                    ha="center",
                    va="bottom",
                    fontsize=8,
                    fontweight="bold",
                    color=style.INK,
                    zorder=8,
                )


def limit_height(axes: "Axes", quantity: q.Quantity | None, values: FloatArray, limits: list[float]) -> None:
    """Keep limits in view, and cut off a quantity that grows without bound above its plot limit."""
    finite = values[np.isfinite(values)]
    seen = np.concatenate([finite, limits])
    if seen.size == 0:
        return
    low, high = float(seen.min()), float(seen.max())
    if quantity is not None and quantity.plot_limit is not None:
        reference = quantity.reference[0] if quantity.reference else 1.0
        smallest = float(finite.min()) if finite.size else reference
        low = min(low, 0.9 * reference)
        high = min(high, max(quantity.plot_limit * max([reference, *limits]), 1.3 * smallest))
    room = 0.08 * (high - low) or 0.05 * max(abs(high), 1e-3)
    axes.set_ylim(low - room, high + 1.6 * room)


def mark_limit(axes: "Axes", limit: float, is_floor: bool, unit: str, values: FloatArray) -> None:
    """Draw a limit, its words and a tint on its safe side."""
    bottom, top = axes.get_ylim()
    safe = (limit, top) if is_floor else (bottom, limit)
    axes.axhspan(*safe, color=style.GOOD, alpha=0.10, linewidth=0, zorder=0)
    axes.axhline(limit, color=style.GOOD, linewidth=1.2, linestyle=(0, (5, 3)), zorder=1)
    axes.set_ylim(bottom, top)
    note(
        axes,
        limit,
        f"{'at least' if is_floor else 'at most'} {digits(limit)} {unit}".strip(),
        style.GOOD,
        values,
    )


def mark_reference(
    axes: "Axes", quantity: q.Quantity | None, factor: float, values: FloatArray, *, below: bool
) -> None:
    """Draw the reference value of a quantity, if it has one, and the word for it."""
    if quantity is not None and quantity.reference is not None:
        value, word = quantity.reference
        axes.axhline(value * factor, color=style.BAD, linewidth=1.0, linestyle=(0, (1, 2)))
        note(axes, value * factor, word, style.BAD, values, below=below)


def note(
    axes: "Axes", height: float, text: str, colour: str, values: FloatArray, *, below: bool = False
) -> None:
    """Write above or below a level, at the end where the curve is farther from it."""
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


def mark_stages(axes: "Axes", table: PathTable) -> None:
    """Write the names of the stages below the whole path and separate them by lines."""
    stages = list(dict.fromkeys(table.stages))
    room = max(1, _LETTERS // len(stages))
    words = [textwrap.fill(stage, room, break_long_words=False) for stage in stages]
    upright = any(len(line) > room for name in words for line in name.splitlines())
    axes.set_xticks(
        np.arange(len(stages)) + 0.5, stages if upright else words, fontsize=8, rotation=90 if upright else 0
    )
    axes.set_xlim(-0.04, len(stages) + 0.04)
    axes.tick_params(axis="x", length=0)
    axes.grid(visible=False, axis="x")
    for edge in range(1, len(stages)):
        axes.axvline(edge, color=style.LINE, linewidth=1.0, zorder=0)
