# SPDX-License-Identifier: MIT
"""Flows and pressures over the time of one cycle, each curve with its name beside it."""

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from annelid.geometry.body import FloatArray
from annelid.results.figures import svg_style as style
from annelid.results.figures.label_placement import Label, place_labels
from annelid.results.figures.path_figures import SvgFigure
from annelid.results.folder.tables import PathRecord
from annelid.solver.model import flow_quantities as f
from annelid.solver.model import quantities as q

if TYPE_CHECKING:
    from matplotlib.axes import Axes

_SIZE = (6.4, 4.8)
_MOST = 3  # curves of flows, and as many of pressures
_SAME = 0.02  # of the range: curves that are nearer to each other, or to the reverse of it, are drawn once
_ALONG = {
    f.UPPER_OUTFLOW.name: "out of the upper end",
    f.LOWER_OUTFLOW.name: "out of the lower end",
    f.HIGHEST_PRESSURE.name: "highest in the lumen",
    f.LOWEST_PRESSURE.name: "lowest in the lumen",
}
_LUMEN = {q.LUMEN_PRESSURE.name: "lumen"}


def flow_curves(table: PathRecord, rows: NDArray[np.int64], *, name: str) -> SvgFigure | None:
    """Draw flows and pressures over the time of a cycle, at most six curves.

    Args:
        table: The path.
        rows: Rows of the cycle, with both ends.
        name: Prefix of the ids of the SVG.

    Returns:
        The figure; ``None`` if no flow or no pressure changes in the cycle.
    """
    import matplotlib
    from matplotlib.figure import Figure

    along, elements = list(_ALONG), _members(table, f.ELEMENT_FLOW_OF.stem)
    lumen = along[2:] if along[2] in table.columns else list(_LUMEN)
    known = [np.isfinite(table[name][rows]) for name in (*along, *elements) if name in table.columns]
    rows = rows[np.all(known, axis=0)] if known else rows[:0]  # flows are not known before they begin
    if not rows.size:
        return None
    flows = chosen_curves(table, rows, along[:2], elements)
    pressures = chosen_curves(table, rows, lumen, _members(table, f.NODE_PRESSURE_OF.stem))
    if not flows or not pressures:
        return None
    time = table[q.TIME.name][rows]
    seconds = table.display_unit(q.TIME.name, float(np.ptp(time)))
    with matplotlib.rc_context(style.SETTINGS):
        figure = Figure(figsize=_SIZE, layout="constrained")
        above, below = figure.subplots(2, 1, sharex=True)
        for axes, curves, word in ((above, flows, "flow"), (below, pressures, "pressure")):
            _draw(axes, table, rows, (time - time[0]) * seconds.factor, curves, word)
        below.set_xlabel(seconds.label("time since the start of the cycle"))
        caption = "Flows and pressures over the last cycle."
        if elements:
            caption += " Of the elements and nodes of the circuit those that change most are shown."
        return SvgFigure(style.svg_text(figure, name, caption), caption)


def chosen_curves(
    table: PathRecord, rows: NDArray[np.int64], first: Sequence[str], others: Sequence[str]
) -> list[str]:
    """Return the names of at most three quantities that change in a cycle, of equal ones the first.

    Args:
        table: The path.
        rows: Rows of the cycle.
        first: Quantities that are taken before others, if the table has them.
        others: Of these those that change most.
    """
    present = [name for name in first if name in table.columns]
    ranges = {name: float(np.ptp(table[name][rows])) for name in (*present, *others)}
    least = 1e-6 * max(ranges.values(), default=0.0)
    chosen: list[str] = []
    for name in (*present, *sorted(others, key=lambda other: -ranges[other])):
        alike = any(_alike(table[name][rows], table[other][rows]) for other in chosen)
        if len(chosen) < _MOST and ranges[name] > least and not alike:
            chosen.append(name)
    return chosen


def _alike(one: FloatArray, other: FloatArray) -> bool:
    """Whether a curve is another one or the reverse of it."""
    near = _SAME * max(np.ptp(one), np.ptp(other))
    return bool(np.abs(one - other).max() < near or np.abs(one + other).max() < near)


def _members(table: PathRecord, stem: str) -> list[str]:
    return [name for name in table.quantities if name.startswith(stem)]


def _draw(
    axes: "Axes", table: PathRecord, rows: NDArray[np.int64], x: FloatArray, names: Sequence[str], word: str
) -> None:
    """Draw curves with their names where they are farthest from the others."""
    values = np.array([table[name][rows] for name in names])
    unit = table.display_unit(names[0], float(np.abs(values).max()))
    values = values * unit.factor
    for y, colour in zip(values, style.SERIES, strict=False):
        axes.plot(x, y, color=colour)
    low, high = axes.get_ylim()
    if low < 0 < high:
        axes.axhline(0.0, color=style.MUTED, linewidth=0.7, zorder=1)
    axes.margins(x=0.01, y=0.22)
    axes.set_title(unit.label(word))
    places = _clear_places(values)
    labels = [
        Label(_label(name), (float(x[i]), float(y[i])))
        for name, y, i in zip(names, values, places, strict=True)
    ]
    written = place_labels(axes, labels, [np.column_stack([x, y]) for y in values])
    for text, colour in zip(written, style.SERIES, strict=False):
        text.set_color(colour)


def _clear_places(values: FloatArray) -> NDArray[np.int64]:
    """Place along each of several curves where it is far from the others and from the mean of all."""
    distances = np.abs(values[:, None] - values)
    distances[np.eye(len(values), dtype=bool)] = np.ptp(values)  # not from itself
    clearance = distances.min(axis=1) + np.abs(values - values.mean())
    margin = values.shape[1] // 7
    return np.asarray(clearance[:, margin : values.shape[1] - margin].argmax(axis=1) + margin)


def _label(name: str) -> str:
    """What is written beside the curve of a quantity."""
    for stem in (f.ELEMENT_FLOW_OF.stem, f.NODE_PRESSURE_OF.stem):
        name = name.removeprefix(stem)
    return (_ALONG | _LUMEN).get(name, name)
