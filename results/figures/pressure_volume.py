# SPDX-License-Identifier: MIT
"""Pressure-volume loop of a lumen, whose area is the work that it does on the fluid in a cycle."""

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from annelid.results.figures import svg_style as style
from annelid.results.figures.label_placement import Label, place_labels
from annelid.results.figures.path_figures import SvgFigure
from annelid.results.folder.tables import PathRecord
from annelid.solver.model import quantities as q
from annelid.solver.model.cycle_quantities import STROKE_WORK

if TYPE_CHECKING:
    from matplotlib.axes import Axes

_SIZE = (6.4, 3.9)
_ARROWS = 3  # along the loop


def pressure_volume_loop(
    table: PathRecord,
    last: NDArray[np.int64],
    before: NDArray[np.int64],
    *,
    work: float,
    name: str,
) -> SvgFigure:
    """Draw the lumen pressure against the lumen volume over the last cycle and the one before.

    Args:
        table: The path.
        last: Rows of the last cycle, with both ends.
        before: Rows of the cycle before; empty if there is none.
        work: Work on the fluid in the last cycle, the area of the loop, mJ.
        name: Prefix of the ids of the SVG.

    Returns:
        The figure.
    """
    pressure, volume = table[q.LUMEN_PRESSURE.name], table[q.LUMEN_VOLUME.name]
    drawn = np.union1d(last, before)
    p_unit = table.display_unit(q.LUMEN_PRESSURE.name, float(np.nanmax(np.abs(pressure[drawn]))))
    v_unit = table.display_unit(q.LUMEN_VOLUME.name, float(np.nanmax(np.abs(volume[drawn]))))
    points = np.column_stack([volume * v_unit.factor, pressure * p_unit.factor])
    with style.new_figure(*_SIZE) as (figure, axes):
        axes.plot(*points[before].T, color=style.MUTED, linewidth=0.8, zorder=2)
        axes.fill(*points[last].T, color=style.ACCENT, alpha=0.12, linewidth=0, zorder=1)
        axes.plot(*points[last].T, color=style.ACCENT, zorder=3)
        axes.plot(*points[last[0]], "o", color=style.INK, markersize=4.5, zorder=5)
        axes.margins(x=0.08, y=0.14)
        _arrows(axes, points[last])
        x, y = points[last[0]]
        curves = [points[rows] for rows in (last, before) if rows.size]
        place_labels(axes, [Label("start of the cycle", (float(x), float(y)))], curves)
        shown = table.show(STROKE_WORK.name, abs(work))
        axes.set_title(f"pressure-volume loop, area {shown}")
        axes.set_xlabel(v_unit.label(q.LUMEN_VOLUME.name))
        axes.set_ylabel(p_unit.label(q.LUMEN_PRESSURE.name))
        caption = _caption(shown, work, bool(before.size))
        return SvgFigure(style.svg_text(figure, name, caption), caption)


def _arrows(axes: "Axes", loop: NDArray[np.float64]) -> None:
    """Arrows that show in which sense the loop is run through, at equal lengths along it."""
    size = np.ptp(loop, axis=0)
    lengths = np.linalg.norm(np.diff(loop, axis=0) / np.where(size > 0, size, 1.0), axis=1)
    along = np.concatenate([[0.0], np.cumsum(lengths)])
    step = 0.01 * along[-1]
    for middle in along[-1] * (np.arange(_ARROWS) + 0.5) / _ARROWS:
        start, end = (
            (float(np.interp(at, along, loop[:, 0])), float(np.interp(at, along, loop[:, 1])))
            for at in (middle - step, middle + step)
        )
        arrow = {
            "arrowstyle": "-|>",
            "color": style.ACCENT,
            "mutation_scale": 14.0,
            "shrinkA": 0,
            "shrinkB": 0,
        }
        axes.annotate("", end, start, arrowprops=arrow, zorder=4)


def _caption(shown: str, work: float, has_before: bool) -> str:
    who = "the wall does on the fluid" if work >= 0 else "the fluid does on the wall"
    thin = " The thin line is the cycle before." if has_before else ""
    return f"Pressure-volume loop of the last cycle: its area of {shown} is the work that {who}.{thin}"
