# SPDX-License-Identifier: MIT
"""Charts of what was learnt from a study: sensitivities, and distributions of a tolerance study."""

from typing import TYPE_CHECKING

import numpy as np

from annelid.results.figures import svg_style as style
from annelid.results.figures.path_figures import Figure
from annelid.results.study.marks import tint_limits
from annelid.results.study.records import Sensitivity, Spread
from annelid.solver.display import digits

if TYPE_CHECKING:
    from matplotlib.axes import Axes


def sensitivity_chart(found: Sensitivity, *, name: str) -> Figure:
    """Draw indices or correlations as bars with their confidence intervals, the largest on top."""
    total = found.total if found.total is not None else found.first
    order = np.argsort(np.abs(total))
    heights = np.arange(len(order), dtype=float)
    with style.drawing(3.9, 1.25 + 0.34 * len(order)) as (figure, axes):
        if found.total is None:
            _bars(axes, heights, found.first[order], found.first_half[:, order], style.ACCENT, 0.5)
            axes.set_xlim(-1.05, 1.05)
            axes.axvline(0.0, color=style.MUTED, linewidth=0.8)
            axes.set_xlabel("rank correlation")
        else:
            assert found.total_half is not None
            _bars(axes, heights + 0.19, found.first[order], found.first_half[:, order], style.ACCENT, 0.32)
            _bars(axes, heights - 0.19, found.total[order], found.total_half[:, order], style.SERIES[1], 0.32)
            axes.set_xlim(min(0.0, float(np.min(found.first - found.first_half[0]))), 1.08)
            axes.set_xlabel("share of the variance: alone (upper), with all its interactions (lower)")
            axes.xaxis.label.set_fontsize(8)
        axes.set_yticks(heights, [found.names[i].replace("_", " ") for i in order])
        axes.grid(visible=False, axis="y")
        quantity = found.quantity.replace("_", " ")
        axes.set_title(quantity)
        label = f"What {quantity} depends on"
        return Figure(style.svg_text(figure, name, label), label)


def spread_chart(spread: Spread, *, name: str) -> Figure:
    """Draw the distribution of a quantity as a histogram, with its limits and the middle 90 %."""
    shown = spread.display.unit(spread.kind, float(np.max(np.abs(spread.values), initial=0.0)))
    values = spread.values * shown.factor
    low, middle, high = np.percentile(values, [5, 50, 95])
    with style.drawing(3.9, 2.7) as (figure, axes):
        bins = int(np.clip(2 * np.cbrt(len(values)), 5, 40))  # Rice's rule
        axes.hist(values, bins=bins, color=style.ACCENT, alpha=0.75, zorder=2)
        seen = [limit.value * shown.factor for limit in spread.limits]
        left, right = min([values.min(), *seen]), max([values.max(), *seen])
        room = 0.06 * (right - left) or 0.05 * max(abs(right), 1e-3)
        axes.set_xlim(left - room, right + room)
        tint_limits(axes, spread.limits, shown.factor, shown.name, upright=True)
        axes.plot(
            [low, high], [0, 0], color=style.INK, linewidth=4, solid_capstyle="butt", clip_on=False, zorder=5
        )
        axes.plot([middle], [0], "o", color=style.INK, markersize=5, clip_on=False, zorder=6)
        axes.set_title(shown.label(spread.quantity))
        said = [digits(float(value), 3) for value in (middle, low, high)]
        axes.set_xlabel(f"middle {said[0]}, nine in ten from {said[1]} to {said[2]}")
        axes.set_ylabel("parts")
        axes.grid(visible=False, axis="x")
        label = f"Distribution of {spread.quantity}"
        return Figure(style.svg_text(figure, name, label), label)


def _bars(
    axes: "Axes", heights: np.ndarray, values: np.ndarray, halves: np.ndarray, colour: str, thickness: float
) -> None:
    axes.barh(heights, values, height=thickness, color=colour, alpha=0.8, zorder=2)
    axes.errorbar(
        values, heights, xerr=halves, fmt="none", ecolor=style.INK, elinewidth=1.1, capsize=2.5, zorder=3
    )
