# SPDX-License-Identifier: MIT
"""Load curves: a load against its work-conjugate, which shows load maxima, snap-through and snap-back."""

from collections.abc import Sequence
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
from numpy.typing import NDArray

from annelid.geometry.body import FloatArray
from annelid.results.figures import svg_style as style
from annelid.results.figures.curve_annotations import draw_jump, draw_states
from annelid.results.figures.label_placement import Label, place_labels
from annelid.results.figures.load_titles import load_title
from annelid.results.figures.path_figures import SvgFigure
from annelid.results.figures.stage_spans import StageSpan
from annelid.results.folder.energies import energies_of
from annelid.results.folder.single_load import conjugate_of
from annelid.results.folder.tables import PathRecord
from annelid.solver.display import DisplayUnit, capitalised, digits
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
        response = conjugate_quantity(table, group) or response_quantity(table, group)
        if response and (eventful.any() or any(load_reverses(table, span) for span in group)):
            paths.append(LoadPath(tuple(group), group[0].load, response))
    return paths


def conjugate_quantity(table: PathRecord, spans: Sequence[StageSpan]) -> str:
    """Return the work-conjugate of the load if it changes, else an empty text.

    The curve is a snap curve over it: the area below is the work of the load.
    """
    load = spans[0].load
    conjugate = conjugate_of(load)
    names = [conjugate[0]] if conjugate is not None else []
    for name in [*names, *([q.LUMEN_VOLUME.name] if load == "pressure" else [])]:
        values = table.columns.get(name, np.full(1, np.nan))
        if np.isfinite(values).all() and np.ptp(values) > 0:
            return name
    return ""


def response_quantity(table: PathRecord, spans: Sequence[StageSpan]) -> str:
    """Return an abscissa for curves of a stage, if possible a quantity that is monotonic in every stage."""
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
        axes.margins(x=0.05, y=0.18)
        _cut_off(axes, x, loads, largest * unit.factor, unit.name)
        snaps = _snap_lines(table, path, x_unit, unit)
        for start, end in snaps:
            draw_jump(axes, start, end)
        lines = [np.column_stack([x, loads]), *map(np.array, snaps)]
        _label_critical_points(axes, table, rows, lines, unit.name)
        stages = " and ".join(f"“{span.stage}”" for span in path.spans)
        noun = "stages" if len(path.spans) > 1 else "stage"
        caption = f"{path.load} against {path.response}, {noun} {stages}"
        return SvgFigure(style.svg_text(figure, name, caption), capitalised(caption) + ".")


def _largest_drawn_load(table: PathRecord, load: str, rows: NDArray[np.int64]) -> float:
    """Largest load of the figure in size, on the side to which the load grows; infinite to draw all."""
    critical = np.abs(table[load][rows[table.is_critical[rows]]])
    largest = _LARGEST_OVER_CRITICAL * float(np.max(critical, initial=0.0))
    return largest if 0.0 < 1.2 * largest < float(np.nanmax(np.abs(table[load][rows]))) else np.inf


def _scaled(
    table: PathRecord, name: str, rows: NDArray[np.int64], largest_drawn: float
) -> tuple[FloatArray, DisplayUnit]:
    values = table[name][rows]
    largest = min(float(np.nanmax(np.abs(values), initial=0.0)), largest_drawn)
    unit = table.display_unit(name, largest)
    return values * unit.factor, unit


def _cut_off(axes: "Axes", x: FloatArray, loads: FloatArray, largest: float, unit: str) -> None:
    """End the axis at the largest drawn load, above or below zero, and write where the curve ends."""
    if not np.isfinite(largest):
        return
    end = float(loads[np.nanargmax(np.abs(loads))])
    sign = np.copysign(1.0, end)
    smallest = min(float(np.nanmin(sign * loads)), 0.0)
    axes.set_ylim(*sorted((sign * (smallest - 0.06 * largest), sign * largest)))
    first = int(np.argmax(sign * loads > largest))
    fraction = (sign * largest - loads[first - 1]) / (loads[first] - loads[first - 1])
    forward = x[first] >= x[first - 1]
    axes.annotate(
        f"continues to {digits(end)} {unit}",
        (x[first - 1] + fraction * (x[first] - x[first - 1]), sign * largest),
        xytext=(-10 if forward else 10, -2 * sign),
        textcoords="offset points",
        ha="right" if forward else "left",
        va="top" if sign > 0 else "bottom",
        color=style.MUTED,
        fontsize=8.5,
    )


def _snap_lines(
    table: PathRecord, path: LoadPath, x_unit: DisplayUnit, unit: DisplayUnit
) -> list[tuple[tuple[float, float], tuple[float, float]]]:
    """Start and end of the snaps that the part would make at constant load on a path followed past them."""
    energies = energies_of(table)
    if energies is None or energies.load != path.load:
        return []
    lines = []
    numbers, x, loads = table["state"], table[path.response], table[path.load]
    for snap in energies.snaps:
        row = int(np.flatnonzero(numbers == snap.state)[0])
        if row not in path.rows or table.after_jump[row + 1]:
            continue
        end = float(np.interp(snap.end, numbers, x))
        height = loads[row] * unit.factor
        lines.append(((float(x[row]) * x_unit.factor, height), (end * x_unit.factor, height)))
    return lines


def _label_critical_points(
    axes: "Axes",
    table: PathRecord,
    rows: NDArray[np.int64],
    lines: Sequence[FloatArray],
    unit: str,
) -> None:
    x, loads = lines[0].T
    labels = [
        Label(f"{number}  {table.critical[row]}, {digits(float(loads[i]))} {unit}", (x[i], loads[i]))
        for number, row in enumerate(np.flatnonzero(table.is_critical), start=1)
        for i in np.flatnonzero(rows == row)
    ]
    place_labels(axes, labels, lines)
