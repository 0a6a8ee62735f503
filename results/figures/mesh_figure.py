# SPDX-License-Identifier: MIT
"""The size of the elements along a part, for a mesh that was chosen."""

from collections.abc import Sequence

import numpy as np

from annelid.results.figures import svg_style as style
from annelid.results.figures.path_figures import SvgFigure
from annelid.solver.display import DisplayUnits

__all__ = ["mesh_figure"]

_PANEL = (7.6, 2.6)


def mesh_figure(
    edges: Sequence[float], lines: Sequence[float], units: DisplayUnits, *, name: str
) -> SvgFigure:
    """Draw the length of each row of elements over its place along the wall.

    Args:
        edges: Edges of the rows, ascending, mm.
        lines: Ends of the part and edges of electrodes, mm.
        units: Units.
        name: Prefix of the ids of the SVG.
    """
    unit = units.unit("length", float(edges[-1] - edges[0]))
    at, sizes = np.array(edges) * unit.factor, np.diff(edges) * unit.factor
    with style.new_figure(*_PANEL) as (figure, axes):
        axes.stairs(sizes, at, color=style.ACCENT, linewidth=1.4, baseline=None, zorder=4)
        axes.plot(
            at, np.zeros_like(at), "|", color=style.INK, markersize=9, transform=axes.get_xaxis_transform()
        )
        for line in lines:
            axes.axvline(line * unit.factor, color=style.WARNING, linewidth=1.0, linestyle=":", zorder=2)
        axes.set_yscale("log")
        axes.set_xlabel(unit.label("place along the wall"))
        axes.set_title(unit.label("length of the elements"))
        label = "Length of the elements along the wall; dotted: ends of the part and edges of electrodes"
        return SvgFigure(
            style.svg_text(figure, name, label), f"{label}. The marks below are the element edges."
        )
