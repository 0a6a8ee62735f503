# SPDX-License-Identifier: MIT
"""Loads of one kind over time, one ribbon above the other, so that a travelling wave is seen."""

import numpy as np

from annelid.results.figures import svg_style as style
from annelid.results.figures.path_figures import SvgFigure
from annelid.results.figures.stage_spans import StageSpan
from annelid.results.folder.tables import PathRecord
from annelid.solver.model import quantities as q

_WIDTH, _ROW, _EDGES = 6.4, 0.24, 1.1  # inches
_HEIGHT = 0.8  # of a row


def load_ribbons(
    table: PathRecord, label: str, loads: dict[str, str], span: StageSpan, *, name: str
) -> SvgFigure:
    """Draw the loads of one kind over the time of a stage.

    Args:
        table: The path of the run.
        label: Kind of load.
        loads: Name in the table of the load of each entry, from the lowest row up.
        span: The stage.
        name: Prefix of the ids of the SVG.

    Returns:
        The figure; all ribbons have the same scale.
    """
    time = table[q.TIME.name][span.rows]
    values = {entry: np.nan_to_num(table[load][span.rows]) for entry, load in loads.items()}
    largest = max(float(np.abs(v).max()) for v in values.values())
    seconds = table.display_unit(q.TIME.name, float(time.max()))
    most = table.show(next(iter(loads.values())), largest)
    with style.new_figure(_WIDTH, _EDGES + _ROW * len(loads)) as (figure, axes):
        for row, v in enumerate(values.values()):
            axes.fill_between(
                time * seconds.factor, row, row + _HEIGHT * v / largest, color=style.ACCENT, linewidth=0
            )
        axes.set_yticks(np.arange(len(loads)) + _HEIGHT / 2, list(loads))
        axes.set_ylim(-0.2, len(loads))
        axes.set_xlabel(seconds.label("time"))
        axes.set_title(f"{label} over time, up to {most}")
        axes.margins(x=0.01)
        caption = f"The {label} of each entry over time, all on one scale up to {most}."
        return SvgFigure(style.svg_text(figure, name, caption), caption)
