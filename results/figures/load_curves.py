# SPDX-License-Identifier: MIT
"""The load over what grows, in which maxima and snap-backs of a load that turns back can be seen."""

from collections.abc import Sequence
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
from numpy.typing import NDArray

from annelid.geometry.body import FloatArray
from annelid.results.figures import svg_style as style
from annelid.results.figures.figure_marks import mark_states
from annelid.results.figures.path_figures import Figure, Span
from annelid.results.folder.tables import PathTable
from annelid.solver.display import DisplayUnit, digits
from annelid.solver.model import quantities as q

if TYPE_CHECKING:
    from matplotlib.axes import Axes

_SIZE = (5.2, 3.5)
# What grows under a load, the most useful first.
_GROWTH = {
    "pressure": (
        q.LUMEN_VOLUME.name,
        q.MEAN_RADIAL_EXPANSION.name,
        q.LARGEST_STRETCH.name,
        q.AXIAL_SHORTENING.name,
    ),
    "voltage": (
        "charge",
        q.LUMEN_VOLUME.name,
        q.MEAN_RADIAL_EXPANSION.name,
        q.LARGEST_STRETCH.name,
        q.AXIAL_SHORTENING.name,
    ),
}
_OTHER_GROWTH = (q.AXIAL_SHORTENING.name, q.MEAN_RADIAL_EXPANSION.name, q.LARGEST_STRETCH.name)
# A change below this fraction of the largest value is rounding of the solution.
_ROUNDING = 1e-7
# A stiffening branch may rise so far that the turning points cannot be seen; it is cut off here.
_HIGHEST = 2.5


class LoadPath(NamedTuple):
    """Successive stages that change the same load, and the quantity to draw it over."""

    spans: tuple[Span, ...]
    load: str
    growth: str

    @property
    def rows(self) -> NDArray[np.int64]:
        """Rows of all its stages, each once."""
        return np.unique(np.concatenate([span.rows for span in self.spans]))


def turns_back(table: PathTable, span: Span) -> bool:
    """Whether the load of a stage turns back, jumps left out."""
    steps = np.diff(table[span.load][span.rows])[~table.after_jump[span.rows[1:]]]
    small = _ROUNDING * np.abs(table[span.load][span.rows]).max()
    return bool((steps > small).any() and (steps < -small).any())


def load_paths(table: PathTable, spans: list[Span]) -> list[LoadPath]:
    """Return the pieces of a path whose load is worth drawing over what grows.

    Those are where it turns back, passes a critical point, or jumps. Successive stages that change the same
    load belong together: inflation and deflation make one loop.
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
        eventful = table.is_critical[rows] | table.after_jump[rows] | table.unstable[rows]
        growth = growing(table, group)
        if growth and (eventful.any() or any(turns_back(table, span) for span in group)):
            found.append(LoadPath(tuple(group), group[0].load, growth))
    return found


def growing(table: PathTable, spans: Sequence[Span]) -> str:
    """Return the quantity to draw a load against: one that goes one way in every stage, if there is one."""
    order = next((names for word, names in _GROWTH.items() if spans[0].load.startswith(word)), _OTHER_GROWTH)
    scores = {}
    for name in (*order, q.STRAIN_ENERGY.name):
        values = table.columns.get(name, np.zeros(len(table)))
        steps = [np.diff(values[span.rows]) for span in spans]
        way = sum(float(np.abs(s).sum()) for s in steps)
        if np.isfinite(way) and way > 0:
            scores[name] = round(sum(float(abs(s.sum())) for s in steps) / way, 3)
    return max(scores, key=lambda name: scores[name], default="")


def load_curve(table: PathTable, path: LoadPath, *, name: str) -> Figure:
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
        axes.set_ylabel(shown.label(path.load))
        axes.set_xlabel(across_shown.label(path.growth))
        axes.margins(x=0.05, y=0.14)
        _cut_off(axes, across, loads, highest * shown.factor, shown.name)
        _name_critical_points(axes, table, rows, across, loads, shown.name)
        stages = " and ".join(f"“{span.stage}”" for span in path.spans)
        word = "stages" if len(path.spans) > 1 else "stage"
        caption = f"{path.load} against {path.growth}, {word} {stages}"
        return Figure(style.svg_text(figure, name, caption), caption[:1].upper() + caption[1:] + ".")


def _highest(table: PathTable, load: str, rows: NDArray[np.int64]) -> float:
    """Largest load that is drawn: all of it unless its turning points would be too small to see."""
    critical = np.abs(table[load][rows[table.is_critical[rows]]])
    highest = _HIGHEST * float(np.max(critical, initial=0.0))
    return highest if 0.0 < 1.2 * highest < float(np.nanmax(table[load][rows])) else np.inf


def _scaled(
    table: PathTable, name: str, rows: NDArray[np.int64], highest: float
) -> tuple[FloatArray, DisplayUnit]:
    values = table[name][rows]
    largest = min(float(np.nanmax(np.abs(values), initial=0.0)), highest)
    shown = table.shown(name, largest)
    return values * shown.factor, shown


def _cut_off(axes: "Axes", across: FloatArray, loads: FloatArray, highest: float, unit: str) -> None:
    if not np.isfinite(highest):
        return
    lowest = min(float(np.nanmin(loads)), 0.0)
    axes.set_ylim(lowest - 0.06 * highest, highest)
    beyond = int(np.argmax(loads > highest))
    share = (highest - loads[beyond - 1]) / (loads[beyond] - loads[beyond - 1])
    axes.annotate(
        f"continues to {digits(float(np.nanmax(loads)))} {unit}",
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
    landings = table.after_jump[rows]
    for number, row in enumerate(np.flatnonzero(table.is_critical), start=1):
        for i in np.flatnonzero(rows == row):
            share = (across[i] - left) / (right - left)
            above, lift = i == 0 or loads[i] >= loads[i - 1], 9
            side = "left" if share < 0.35 else "right" if share > 0.65 else "center"
            if i + 1 < len(rows) and landings[i + 1]:
                # Not on the side of the arrow of the jump.
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
