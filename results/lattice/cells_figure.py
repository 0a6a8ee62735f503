# SPDX-License-Identifier: MIT
"""A picture of all flat cells side by side, with their named dimensions."""

import io
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from annelid.geometry.body import FloatArray
from annelid.geometry.lattice.catalogue import LatticeCell
from annelid.geometry.lattice.chart import PERIOD, chart_of
from annelid.geometry.lattice.footprint import Footprint, footprint
from annelid.geometry.lattice.pattern import Pattern
from annelid.geometry.lattice.wrapping import wrap
from annelid.geometry.shapes.shape import Layer
from annelid.geometry.shapes.tube import Tube
from annelid.results.atomic import write_atomically
from annelid.results.figures.svg_style import CARD, INK, SERIES
from annelid.results.lattice.dimensions import Dimension, dimensions
from annelid.solver.display import digits

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure
    from matplotlib.text import Text

_INCH, _PER_ROW, _DPI = 3.2, 3, 100
_SMALLEST_COLUMNS = 3  # smallest number of cells around in the window of a pattern
_STRUT = "#84c0c4"  # lighter than other figures, so that dimensions are visible on it
_PAD = 3.0  # pixels between a label and its dimension
_COPIES = sorted(np.ndindex(5, 5), key=lambda ij: abs(ij[0] - 2) + abs(ij[1] - 2))


def cells_figure(cells: Mapping[str, LatticeCell], out: Path) -> Path:
    """Draw flat cells by name, as they are printed, with their dimensions, and write a PNG file.

    The outlined rectangle is the unit cell.
    """
    import matplotlib

    with matplotlib.rc_context({"font.family": "sans-serif", "font.size": 9.0}):
        buffer = io.BytesIO()
        draw_cells(cells).savefig(buffer, format="png", dpi=_DPI, metadata={"Software": None})
    return write_atomically(out, buffer.getvalue())


def draw_cells(cells: Mapping[str, LatticeCell]) -> "Figure":
    """Return the figure of cells by name; the label of a dimension overlaps no other and no dimension."""
    from matplotlib.figure import Figure

    rows = -(-len(cells) // _PER_ROW)
    figure = Figure(
        figsize=(_INCH * _PER_ROW, (_INCH + 0.3) * rows), layout="constrained", facecolor=CARD, dpi=_DPI
    )
    plots = figure.subplots(rows, _PER_ROW, squeeze=False).ravel()
    for axes in plots:
        axes.set_axis_off()
    moves = [_draw_cell(*item) for item in zip(plots, cells, cells.values(), strict=False)]
    figure.draw_without_rendering()  # places the axes, so that the sizes of labels are known
    figure.set_layout_engine("none")
    for axes, cell, move in zip(plots, cells.values(), moves, strict=False):
        _Labels(axes, cell.pattern()).draw(dimensions(cell, cell.pattern()), move)
    return figure


def _draw_cell(axes: "Axes", name: str, cell: LatticeCell) -> FloatArray:
    """Draw a window of a pattern on a tube so wide that no strut is bent; return where its origin is."""
    from matplotlib.collections import PathCollection
    from matplotlib.patches import Rectangle

    pattern = cell.pattern()
    size = 1.5 * max(pattern.width * _SMALLEST_COLUMNS / 2, pattern.height)
    around = max(8, int(np.ceil(size / pattern.width)) + 1)
    radius = around * pattern.width / PERIOD
    tube = Tube(radius, 2.0 * size + 4.0 * pattern.height, (Layer("wall", 1e-3 * radius),))
    lattice = wrap(pattern, chart_of(tube, "inside"), height=pattern.widest, around=around)
    paths = _outlines(footprint(lattice), radius, int(np.ceil(size / pattern.width)) + 1)
    axes.add_collection(PathCollection(list(paths), facecolor=_STRUT, edgecolor=_STRUT, linewidth=0.3))
    low = radius * lattice.cells.low + pattern.height * (lattice.along // 2)
    axes.add_patch(Rectangle((0.0, low), pattern.width, pattern.height, fill=False, ec=SERIES[1], lw=1.2))
    axes.set_xlim(pattern.width / 2 - size / 2, pattern.width / 2 + size / 2)
    axes.set_ylim(low + pattern.height / 2 - size / 2, low + pattern.height / 2 + size / 2)
    axes.set_aspect("equal")
    axes.set_title(name, color=INK)
    return np.array([0.0, low])


def _outlines(printed: Footprint, scale: float, columns: int) -> Iterator[Any]:
    from matplotlib.path import Path as Outline

    for column in range(-columns, columns + 1):
        offset = np.array([column * printed.period, 0.0])
        for polygon in printed.polygons:
            rings = [
                scale * (ring[[*range(len(ring)), 0]] + offset) for ring in (polygon.outer, *polygon.holes)
            ]
            yield Outline.make_compound_path(*(Outline(ring, closed=True) for ring in rings))


class _Labels:
    """Dimensions with labels in the window of a pattern.

    Each dimension is drawn in the copy of the cell, and with the label at the place, that is nearest to the
    middle and free.
    """

    def __init__(self, axes: "Axes", pattern: Pattern) -> None:
        self._axes, self._period = axes, np.array([pattern.width, pattern.height])
        self._boxes: list[Any] = []
        self._drawn = np.empty((0, 2))  # points on drawn dimensions, pixels

    def draw(self, found: list[Dimension], origin: FloatArray) -> None:
        """Draw dimensions; the longest labels first, as they need most room."""
        for dimension in sorted(found, key=lambda d: -len(d.key)):
            copies = [dimension.shifted(origin + (np.array(ij) - 2) * self._period) for ij in _COPIES]
            text = self._axes.text(
                0.0,
                0.0,
                f"{dimension.key} {digits(dimension.size)}{dimension.unit}",
                color=INK,
                fontsize=8,
                ha="center",
                va="center",
                zorder=6,
                bbox={"boxstyle": "square,pad=0.1", "facecolor": CARD, "edgecolor": "none", "alpha": 0.8},
            )
            chosen = next((copy for copy in copies if self._placed(text, copy)), copies[0])
            self._draw_lines(chosen)

    def _placed(self, text: "Text", dimension: Dimension) -> bool:
        """Place a label at the first free place beside a dimension, if there is one."""
        window, to_pixels = self._axes.get_window_extent(), self._axes.transData
        points = to_pixels.transform(_samples(dimension))
        if not all(window.contains(*point) for point in points):
            return False
        if any(box.contains(*point) for box in self._boxes for point in points):
            return False
        for place, direction in dimension.places:
            box = text.get_window_extent()
            reach = 0.5 * np.array([box.width, box.height]) @ np.abs(direction) + _PAD
            x, y = to_pixels.inverted().transform(to_pixels.transform(place) + reach * direction)
            text.set_position((float(x), float(y)))
            box = text.get_window_extent().padded(_PAD - 1.0)
            inside = window.x0 < box.x0 and box.x1 < window.x1 and window.y0 < box.y0 and box.y1 < window.y1
            others = [*self._drawn, *points]
            if inside and not box.count_overlaps(self._boxes) and not box.count_contains(others):
                self._boxes.append(box)
                self._drawn = np.concatenate([self._drawn, points])
                return True
        return False

    def _draw_lines(self, dimension: Dimension) -> None:
        for line in dimension.lines:
            self._axes.plot(*line.T, color=INK, linewidth=0.8, zorder=5)
        for tail, head in dimension.arrows:
            look = {"arrowstyle": "-|>,head_width=0.15,head_length=0.35", "color": INK, "linewidth": 0.9}
            arrow = look | {"shrinkA": 0.0, "shrinkB": 0.0}
            self._axes.annotate("", head, tail, arrowprops=arrow, zorder=5)


def _samples(dimension: Dimension) -> FloatArray:
    """Points along the lines and arrows of a dimension."""
    steps = np.linspace(0.0, 1.0, 12)[:, None]
    segments = [np.stack([line[:-1], line[1:]], axis=1) for line in (*dimension.lines, *dimension.arrows)]
    return np.concatenate([a + steps * (b - a) for part in segments for a, b in part])
