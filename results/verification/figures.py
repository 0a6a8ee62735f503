# SPDX-License-Identifier: MIT
"""Convergence of quantities with the mesh, as small figures."""

import math

import numpy as np

from annelid.results.figures import svg_style as style
from annelid.results.figures.path_figures import SvgFigure
from annelid.results.verification.record import QuantityBar
from annelid.solver.display import DisplayUnits, digits

__all__ = ["convergence_figure"]

_PANEL = (3.9, 2.6)


def convergence_figure(
    bar: QuantityBar, kind: str, display: DisplayUnits, limits: tuple[float, ...], *, name: str
) -> SvgFigure:
    """Draw the values of a quantity over the element size, with the bars of the case and of the finest mesh.

    Args:
        bar: The error bar; it has values on at least two meshes.
        kind: Kind of the number.
        display: Units.
        limits: Limits of requirements, in the internal unit.
        name: Prefix of the ids of the SVG.
    """
    unit = display.unit(kind, max(map(abs, bar.values)))
    sizes, values = np.array(bar.sizes), np.array(bar.values) * unit.factor
    with style.new_figure(*_PANEL) as (figure, axes):
        axes.plot(sizes, values, "o-", color=style.ACCENT, markersize=4.5, linewidth=1.2, zorder=4)
        for size, value, half in (
            (1.0, bar.value, bar.half_width),
            (bar.sizes[-1], bar.values[-1], bar.best_half_width),
        ):
            if math.isfinite(half):
                axes.errorbar(
                    [size],
                    [value * unit.factor],
                    yerr=[half * unit.factor],
                    color=style.INK,
                    capsize=3,
                    lw=1.1,
                )
        low, high = axes.get_ylim()
        for limit in limits:
            at = limit * unit.factor
            if low - (high - low) < at < high + (high - low):
                axes.axhline(at, color=style.FAILURE, linewidth=1.0, linestyle="--")
        axes.set_xscale("log", base=2)
        axes.set_xticks(sizes, [digits(size, 2) for size in sizes])
        axes.minorticks_off()
        axes.ticklabel_format(axis="y", useOffset=False)
        axes.set_xlabel(f"{bar.where}, over the relative element size".lstrip(", "))
        title = unit.label(bar.quantity)
        axes.set_title(title if len(title) < 46 else bar.quantity[:44] + "…")
        label = f"{bar.quantity} {bar.where} on meshes of different element size"
        return SvgFigure(style.svg_text(figure, name, label), label)
