# SPDX-License-Identifier: MIT
"""The load against what grows: where a load turns back, only so can its maxima and snap-backs be seen."""

from collections.abc import Sequence
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
from numpy.typing import NDArray

from annelid.results.display_units import Display, digits, display
from annelid.results.figures import svg_style as style
from annelid.results.figures.figure_marks import mark_states
from annelid.results.figures.path_figures import Drawing, Span
from annelid.results.folder.tables import PathTable

if TYPE_CHECKING:
    from matplotlib.axes import Axes

FloatArray = NDArray[np.float64]

_SIZE = (5.2, 3.5)
# What a part does under a load, the most telling first.
_GROWTH = {
    "pressure": ("lumen volume", "mean radial expansion", "largest stretch", "axial shortening"),
    "voltage": ("charge", "lumen volume", "mean radial expansion", "largest stretch", "axial shortening"),
}
_OTHER_GROWTH = ("axial shortening", "mean radial expansion", "largest stretch")
# A change below this share of the largest value is rounding of the solution.
_ROUNDING = 1e-7
# A stiffening branch may climb so far that the turning points shrink to nothing; it is cut off here.
_HIGHEST = 2.5


class LoadPath(NamedTuple):
    """Stages after each other that move the same load, and the quantity to draw it against."""

    spans: tuple[Span, ...]
    load: str
    growth: str

    @property
    def rows(self) -> NDArray[np.int64]:
        """Rows of all its stages, each once."""
        return np.unique(np.concatenate([span.rows for span in self.spans]))


def turns_back(table: PathTable, span: Span) -> bool:
    """Whether the load of a stage turns back on the way, jumps left out."""
    steps = np.diff(table[span.load][span.rows])[~table.landings[span.rows[1:]]]
    small = _ROUNDING * np.abs(table[span.load][span.rows]).max()
    return bool((steps > small).any() and (steps < -small).any())


def load_paths(table: PathTable, spans: list[Span]) -> list[LoadPath]:
    """Return the stretches of a path whose load is worth drawing against what grows.

    Those are where it turns back, passes a critical point, or jumps. Stages that follow each other and move
    the same load belong together: inflation and deflation make one loop.
    """
    groups: list[list[Span]] = []
    for span in spans:
        follows = groups and groups[-1][-1].load == span.load and groups[-1][-1].rows[-1] == span.rows[0]
        if follows:
            groups[-1].append(span)
        else:
            groups.append([span])
    found = []
    for group in groups:
        rows = np.concatenate([group[0].rows, *(span.rows[1:] for span in group[1:])])
        eventful = table.is_critical[rows] | table.landings[rows] | table.unstable[rows]
        growth = growing(table, group)
        if growth and (eventful.any() or any(turns_back(table, span) for span in group)):
            found.append(LoadPath(tuple(group), group[0].load, growth))
    return found


def growing(table: PathTable, spans: Sequence[Span]) -> str:
    """Return the quantity to draw a load against: one that goes one way in every stage, if there is one."""
    order = next((names for word, names in _GROWTH.items() if spans[0].load.startswith(word)), _OTHER_GROWTH)
    scores = {}
    for name in (*order, "strain energy"):
        values = table.columns.get(name, np.zeros(len(table)))
        steps = [np.diff(values[span.rows]) for span in spans]
        way = sum(float(np.abs(s).sum()) for s in steps)
        if np.isfinite(way) and way > 0:
            scores[name] = round(sum(float(abs(s.sum())) for s in steps) / way, 3)
    return max(scores, key=lambda name: scores[name], default="")


def load_curve(table: PathTable, path: LoadPath, *, name: str) -> Drawing:
    """Draw the load of a path against what grows, its critical points named with their loads.

    Args:
        table: The path of the run.
        path: Which stretch of it.
        name: Prefix of the ids of the SVG.

    Returns:
        The figure.
    """
    rows = path.rows
    highest = _highest(table, path.load, rows)
    loads, shown = _scaled(table, path.load, rows, highest)
    across, across_shown = _scaled(table, path.growth, rows, np.inf)
    with style.drawing(*_SIZE) as (figure, axes):
        mark_states(axes, table, rows, across, loads)
        axes.set_ylabel(f"{path.load} [{shown.unit}]")
        axes.set_xlabel(path.growth + (f" [{across_shown.unit}]" if across_shown.unit else ""))
        axes.margins(x=0.05, y=0.14)
        _cut_off(axes, across, loads, highest * shown.factor, shown.unit)
        _name_critical_points(axes, table, rows, across, loads, shown.unit)
        stages = " and ".join(f"“{span.stage}”" for span in path.spans)
        word = "stages" if len(path.spans) > 1 else "stage"
        caption = f"{path.load} against {path.growth}, {word} {stages}"
        return Drawing(style.svg_text(figure, name, caption), caption[:1].upper() + caption[1:] + ".")


def _highest(table: PathTable, load: str, rows: NDArray[np.int64]) -> float:
    """Up to where a load is drawn: all of it unless its turning points would shrink to nothing."""
    critical = np.abs(table[load][rows[table.is_critical[rows]]])
    highest = _HIGHEST * float(np.max(critical, initial=0.0))
    return highest if 0.0 < 1.2 * highest < float(np.nanmax(table[load][rows])) else np.inf


def _scaled(
    table: PathTable, name: str, rows: NDArray[np.int64], highest: float
) -> tuple[FloatArray, Display]:
    values = table[name][rows]
    largest = min(float(np.nanmax(np.abs(values), initial=0.0)), highest)
    shown = display(name, table.units[name], largest)
    return values * shown.factor, shown


def _cut_off(axes: "Axes", across: FloatArray, loads: FloatArray, highest: float, unit: str) -> None:
    if not np.isfinite(highest):
        return
    lowest = min(float(np.nanmin(loads)), 0.0)
    axes.set_ylim(lowest - 0.06 * highest, highest)
    beyond = int(np.argmax(loads > highest))
    share = (highest - loads[beyond - 1]) / (loads[beyond] - loads[beyond - 1])
    axes.annotate(
        f"goes on to {digits(float(np.nanmax(loads)))} {unit}",
        (across[beyond - 1] + share * (across[beyond] - across[beyond - 1]), highest),
        xytext=(-10, -2),
        textcoords="offset points",
        ha="right",
        va="top",
        color=style.MUTED,
        fontsize=8.5,
    )


def _name_critical_points(
    axes: "Axes",
    table: PathTable,
    rows: NDArray[np.int64],
    across: FloatArray,
    loads: FloatArray,
    unit: str,
) -> None:
    left, right = axes.get_xlim()
    landings = table.landings[rows]
    for number, row in enumerate(np.flatnonzero(table.is_critical), start=1):
        for i in np.flatnonzero(rows == row):
            share = (across[i] - left) / (right - left)
            above, lift = i == 0 or loads[i] >= loads[i - 1], 9
            side = "left" if share < 0.35 else "right" if share > 0.65 else "center"
            if i + 1 < len(rows) and landings[i + 1]:
                # Out of the way of the arrow, which leaves on the side where the part lands.
                onwards = across[i + 1] > across[i]
                side = "right" if onwards and share >= 0.35 else "left"
                lift = 15 if onwards and side == "left" else 9
            axes.annotate(
                f"{number}  {table.critical[row]}, {digits(float(loads[i]))} {unit}",
                (across[i], loads[i]),
                xytext=(7 if side == "left" else 0, lift if above else -lift),
                textcoords="offset points",
                ha=side,
                va="bottom" if above else "top",
                color=style.INK,
                fontsize=8.5,
                zorder=8,
            )
