# SPDX-License-Identifier: MIT
"""Load curves: a load against a response quantity, which shows load maxima, snap-through and snap-back."""

from collections.abc import Sequence
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
from numpy.typing import NDArray

from annelid.geometry.body import FloatArray
from annelid.results.figures import svg_style as style
from annelid.results.figures.curve_annotations import draw_states
from annelid.results.figures.load_titles import load_title
from annelid.results.figures.path_figures import StageSpan, SvgFigure
from annelid.results.folder.tables import PathRecord
from annelid.solver.display import DisplayUnit, digits
from annelid.solver.model import quantities as q

if TYPE_CHECKING:
    from matplotlib.axes import Axes

_SIZE = (5.2, 3.5)
# Response quantities of a load; the preferred ones are first.
_RESPONSES = {
    "pressure": (
        q.LUMEN_VOLUME.name,
        q.MEAN_RADIAL_EXPANSION.name,
        q.LARGEST_STRETCH.name,
        q.AXIAL_SHORTENING.name,
    ),
    "voltage": (
        q.CHARGE.name,
        q.LUMEN_VOLUME.name,
        q.MEAN_RADIAL_EXPANSION.name,
        q.LARGEST_STRETCH.name,
        q.AXIAL_SHORTENING.name,
    ),
}
_OTHER_RESPONSES = (q.AXIAL_SHORTENING.name, q.MEAN_RADIAL_EXPANSION.name, q.LARGEST_STRETCH.name)
# A change below this fraction of the largest value is rounding of the solution.
_ROUNDING = 1e-7
# Largest load of a figure over the largest critical load. A stiffening branch may rise much farther, and the
# critical points would not be visible.
_LARGEST_OVER_CRITICAL = 2.5


class LoadPath(NamedTuple):
    """Successive stages that change the same load, and the response quantity on the abscissa."""

    spans: tuple[StageSpan, ...]
    load: str
    response: str

    @property
    def rows(self) -> NDArray[np.int64]:
        """Rows of all its stages without repetitions."""
        return np.unique(np.concatenate([span.rows for span in self.spans]))


def load_reverses(table: PathRecord, span: StageSpan) -> bool:
    """Whether the load of a stage reverses its direction, apart from jumps."""
    steps = np.diff(table[span.load][span.rows])[~table.after_jump[span.rows[1:]]]
    small = _ROUNDING * np.abs(table[span.load][span.rows]).max()
    return bool((steps > small).any() and (steps < -small).any())


def load_paths(table: PathRecord, spans: list[StageSpan]) -> list[LoadPath]:
    """Return the parts of a path for which a load curve is drawn.

    In these parts the load reverses, states are unstable, or there is a critical point or a jump. Successive
    stages that change the same load are combined, for instance inflation and deflation.
    """
    groups: list[list[StageSpan]] = []
    for span in spans:
        follows = groups and groups[-1][-1].load == span.load and groups[-1][-1].rows[-1] == span.rows[0]
        if follows:
            groups[-1].append(span)
        else:
            groups.append([span])
    paths = []
    for group in groups:
        rows = np.concatenate([group[0].rows, *(span.rows[1:] for span in group[1:])])
        eventful = table.is_critical[rows] | table.after_jump[rows] | table.unstable[rows]
        response = response_quantity(table, group)
        if response and (eventful.any() or any(load_reverses(table, span) for span in group)):
            paths.append(LoadPath(tuple(group), group[0].load, response))
    return paths


def response_quantity(table: PathRecord, spans: Sequence[StageSpan]) -> str:
    """Return the abscissa of a load curve, if possible a quantity that is monotonic in every stage."""
    order = next(
        (names for kind, names in _RESPONSES.items() if spans[0].load.startswith(kind)), _OTHER_RESPONSES
    )
    scores = {}
    for name in (*order, q.STRAIN_ENERGY.name):
        values = table.columns.get(name, np.zeros(len(table)))
        steps = [np.diff(values[span.rows]) for span in spans]
        total = sum(float(np.abs(s).sum()) for s in steps)
        if np.isfinite(total) and total > 0:
            scores[name] = round(sum(float(abs(s.sum())) for s in steps) / total, 3)
    return max(scores, key=lambda name: scores[name], default="")


def load_curve(table: PathRecord, path: LoadPath, *, name: str) -> SvgFigure:
    """Draw a load against a response quantity, with labels at the critical points.

    Args:
        table: The path of the run.
        path: The part of it that is drawn.
        name: Prefix of the ids of the SVG.

    Returns:
        The figure.
    """
    rows = path.rows
    largest = _largest_drawn_load(table, path.load, rows)
    loads, unit = _scaled(table, path.load, rows, largest)
    x, x_unit = _scaled(table, path.response, rows, np.inf)
    with style.new_figure(*_SIZE) as (figure, axes):
        draw_states(axes, table, rows, x, loads)
        axes.set_ylabel(unit.label(load_title(table, path.load)))
        axes.set_xlabel(x_unit.label(path.response))
        axes.margins(x=0.05, y=0.14)
        _cut_off(axes, x, loads, largest * unit.factor, unit.name)
        _label_critical_points(axes, table, rows, x, loads, unit.name)
        stages = " and ".join(f"“{span.stage}”" for span in path.spans)
        noun = "stages" if len(path.spans) > 1 else "stage"
        caption = f"{path.load} against {path.response}, {noun} {stages}"
        return SvgFigure(style.svg_text(figure, name, caption), caption[:1].upper() + caption[1:] + ".")


def _largest_drawn_load(table: PathRecord, load: str, rows: NDArray[np.int64]) -> float:
    """Largest load of the figure; infinite if the whole curve is drawn."""
    critical = np.abs(table[load][rows[table.is_critical[rows]]])
    largest = _LARGEST_OVER_CRITICAL * float(np.max(critical, initial=0.0))
    return largest if 0.0 < 1.2 * largest < float(np.nanmax(table[load][rows])) else np.inf


def _scaled(
    table: PathRecord, name: str, rows: NDArray[np.int64], largest_drawn: float
) -> tuple[FloatArray, DisplayUnit]:
    values = table[name][rows]
    largest = min(float(np.nanmax(np.abs(values), initial=0.0)), largest_drawn)
    unit = table.display_unit(name, largest)
    return values * unit.factor, unit


def _cut_off(axes: "Axes", x: FloatArray, loads: FloatArray, largest: float, unit: str) -> None:
    if not np.isfinite(largest):
        return
    smallest = min(float(np.nanmin(loads)), 0.0)
    axes.set_ylim(smallest - 0.06 * largest, largest)
    first = int(np.argmax(loads > largest))
    fraction = (largest - loads[first - 1]) / (loads[first] - loads[first - 1])
    axes.annotate(
        f"continues to {digits(float(np.nanmax(loads)))} {unit}",
        (x[first - 1] + fraction * (x[first] - x[first - 1]), largest),
        xytext=(-10, -2),
        textcoords="offset points",
        ha="right",
        va="top",
        color=style.MUTED,
        fontsize=8.5,
    )


def _label_critical_points(
    axes: "Axes",
    table: PathRecord,
    rows: NDArray[np.int64],
    x: FloatArray,
    loads: FloatArray,
    unit: str,
) -> None:
    left, right = axes.get_xlim()
    after_jump = table.after_jump[rows]
    for number, row in enumerate(np.flatnonzero(table.is_critical), start=1):
        for i in np.flatnonzero(rows == row):
            fraction = (x[i] - left) / (right - left)
            above, lift = i == 0 or loads[i] >= loads[i - 1], 9
            side = "left" if fraction < 0.35 else "right" if fraction > 0.65 else "center"
            if i + 1 < len(rows) and after_jump[i + 1]:
                # The label is not on the side of the arrow of the jump.
                forward = x[i + 1] > x[i]
                side = "right" if forward and fraction >= 0.35 else "left"
                lift = 15 if forward and side == "left" else 9
            axes.annotate(
                f"{number}  {table.critical[row]}, {digits(float(loads[i]))} {unit}",
                (x[i], loads[i]),
                xytext=(7 if side == "left" else 0, lift if above else -lift),
                textcoords="offset points",
                ha=side,
                va="bottom" if above else "top",
                color=style.INK,
                fontsize=8.5,
                zorder=8,
            )
