# SPDX-License-Identifier: MIT
"""Charts of the statistics of a study: sensitivities, and distributions of a tolerance study."""

from typing import TYPE_CHECKING

import numpy as np

from annelid.results.figures import svg_style as style
from annelid.results.figures.path_figures import SvgFigure
from annelid.results.study.markers import draw_limits
from annelid.results.study.study_data import Sensitivity, Spread
from annelid.solver.display import digits

if TYPE_CHECKING:
    from matplotlib.axes import Axes


def sensitivity_chart(sensitivity: Sensitivity, *, name: str) -> SvgFigure:
    """Draw indices or correlations as bars with confidence intervals, the largest at the top."""
    first, first_half_width = sensitivity.first_order, sensitivity.first_order_half_width
    total, total_half_width = sensitivity.total, sensitivity.total_half_width
    order = np.argsort(np.abs(first if total is None else total))
    heights = np.arange(len(order), dtype=float)
    with style.new_figure(3.9, 1.25 + 0.34 * len(order)) as (figure, axes):
        if total is None:
            _bars(axes, heights, first[order], first_half_width[:, order], style.ACCENT, 0.5)
            axes.set_xlim(-1.05, 1.05)
            axes.axvline(0.0, color=style.MUTED, linewidth=0.8)
            axes.set_xlabel("rank correlation")
        else:
            assert total_half_width is not None
            _bars(axes, heights + 0.19, first[order], first_half_width[:, order], style.ACCENT, 0.32)
            _bars(axes, heights - 0.19, total[order], total_half_width[:, order], style.SERIES[1], 0.32)
            axes.set_xlim(min(0.0, float(np.min(first - first_half_width[0]))), 1.08)
            axes.set_xlabel("fraction of the variance: first order (upper bar), total (lower bar)")
            axes.xaxis.label.set_fontsize(8)
        axes.set_yticks(heights, [sensitivity.names[i].replace("_", " ") for i in order])
        axes.grid(visible=False, axis="y")
        quantity = sensitivity.quantity.replace("_", " ")
        axes.set_title(quantity)
        label = f"Sensitivity of {quantity}"
        return SvgFigure(style.svg_text(figure, name, label), label)


def spread_chart(spread: Spread, *, name: str) -> SvgFigure:
    """Draw the distribution of a quantity as a histogram, with limits, median and the central 90 %."""
    unit = spread.display.unit(spread.kind, float(np.max(np.abs(spread.values), initial=0.0)))
    values = spread.values * unit.factor
    low, median, high = np.percentile(values, [5, 50, 95])
    with style.new_figure(3.9, 2.7) as (figure, axes):
        bins = int(np.clip(2 * np.cbrt(len(values)), 5, 40))  # Rice's rule
        axes.hist(values, bins=bins, color=style.ACCENT, alpha=0.75, zorder=2)
        limits = [limit.value * unit.factor for limit in spread.limits]
        left, right = min([values.min(), *limits]), max([values.max(), *limits])
        room = 0.06 * (right - left) or 0.05 * max(abs(right), 1e-3)
        axes.set_xlim(left - room, right + room)
        draw_limits(axes, spread.limits, unit.factor, unit.name, upright=True)
        axes.plot(
            [low, high], [0, 0], color=style.INK, linewidth=4, solid_capstyle="butt", clip_on=False, zorder=5
        )
        axes.plot([median], [0], "o", color=style.INK, markersize=5, clip_on=False, zorder=6)
        axes.set_title(unit.label(spread.quantity))
        texts = [digits(float(value), 3) for value in (median, low, high)]
        axes.set_xlabel(f"median {texts[0]}; 90 % of the parts from {texts[1]} to {texts[2]}")
        axes.set_ylabel("number of parts")
        axes.grid(visible=False, axis="x")
        label = f"Distribution of {spread.quantity}"
        return SvgFigure(style.svg_text(figure, name, label), label)


def _bars(
    axes: "Axes", heights: np.ndarray, values: np.ndarray, halves: np.ndarray, colour: str, thickness: float
) -> None:
    axes.barh(heights, values, height=thickness, color=colour, alpha=0.8, zorder=2)
    axes.errorbar(
        values, heights, xerr=halves, fmt="none", ecolor=style.INK, elinewidth=1.1, capsize=2.5, zorder=3
    )
