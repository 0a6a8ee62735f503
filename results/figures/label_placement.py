# SPDX-License-Identifier: MIT
"""Places for the labels of points of a curve, so that they cover neither each other nor the curve."""

from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING, Literal, NamedTuple

import numpy as np
from numpy.typing import NDArray

from annelid.geometry.body import FloatArray
from annelid.results.figures import svg_style as style

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.text import Annotation
    from matplotlib.transforms import Bbox

_FONT_SIZE = 8.5
_WIDER = 1.12  # the font of the page is wider than the one with which the text is measured
_GAP = 9.0  # points between a label and its point
_FAR = 2.5 * _GAP  # a label that is farther has a line to its point
_SPACING = 3.0  # pixels between the points of a curve that a label should not cover
_RINGS = 12  # distances that are tried


type Side = Literal["left", "center", "right"]
type Offset = tuple[float, float, Side]

_SIDES: tuple[Side, ...] = ("left", "center", "right")


class Label(NamedTuple):
    """A text beside a point, in the units of the axes."""

    text: str
    point: tuple[float, float]


def place_labels(axes: "Axes", labels: list[Label], curves: Sequence[FloatArray]) -> list["Annotation"]:
    """Write labels beside their points where they cover no other label, and little of the curve.

    A label that is far from its point is connected to it by a thin line.

    Args:
        axes: Axes with their final limits.
        labels: The labels.
        curves: Points of each curve, shape (n, 2), in the units of the axes.
    """
    figure = axes.figure
    axes.set(xlim=axes.get_xlim(), ylim=axes.get_ylim())
    figure.draw_without_rendering()  # type: ignore[union-attr]
    pixels = np.concatenate([_dense(axes.transData.transform(curve)) for curve in curves])
    taken: list[Bbox] = []
    written = []
    for label in labels:
        annotation, box = _best(axes, label, taken, pixels)
        anchor = axes.transData.transform(label.point)
        if np.hypot(*annotation.get_position()) > _FAR:
            _add_leader(axes, label, annotation)
            pixels = np.concatenate([pixels, _dense(np.array([anchor, np.mean(box.get_points(), axis=0)]))])
        written.append(annotation)
        taken.append(box)
    return written


def _dense(curve: FloatArray) -> FloatArray:
    """Points of a curve a few pixels apart."""
    curve = curve[np.isfinite(curve).all(axis=1)]
    length = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(curve, axis=0), axis=1))])
    stations = np.linspace(0.0, length[-1], int(length[-1] / _SPACING) + 2)
    return np.column_stack([np.interp(stations, length, column) for column in curve.T])


def _best(axes: "Axes", label: Label, taken: list["Bbox"], pixels: FloatArray) -> tuple["Annotation", "Bbox"]:
    """The cheapest place: covered labels cost most, then the edge of the axes, the curve, the distance."""
    annotation = axes.annotate(
        label.text,
        label.point,
        xytext=(0.0, 0.0),
        textcoords="offset points",
        va="center",
        color=style.INK,
        fontsize=_FONT_SIZE,
        zorder=8,
    )
    frame, anchor = axes.get_window_extent(), axes.transData.transform(label.point)
    scale = axes.figure.dpi / 72  # pixels in a point
    boxes = {side: _moved(annotation, (0.0, 0.0, side)) for side in _SIDES}
    best: tuple[float, Offset, Bbox] | None = None
    for offset in _offsets():
        distance = float(np.hypot(offset[0], offset[1]))
        if best is not None and distance >= best[0]:
            continue  # a cost is a distance at least
        box = boxes[offset[2]].translated(scale * offset[0], scale * offset[1])
        overlaps = sum(box.overlaps(other) for other in taken)
        outside = max(0.0, frame.x0 - box.x0, box.x1 - frame.x1, frame.y0 - box.y0, box.y1 - frame.y1)
        inside = _within(pixels, box, 2.0).sum()
        leader = _dense(np.array([anchor, np.mean(box.get_points(), axis=0)]))
        crossed = distance > _FAR and any(_within(leader, other, 0.0).any() for other in taken)
        cost = 1e6 * overlaps + 1e3 * outside + 40.0 * inside + 200.0 * crossed + distance
        if best is None or cost < best[0]:
            best = cost, offset, box
    assert best is not None
    _moved(annotation, best[1])
    return annotation, best[2]


def _within(pixels: FloatArray, box: "Bbox", room: float) -> NDArray[np.bool_]:
    """Which points lie in a box that is wider by some room on each side."""
    inside = np.abs(pixels - np.mean(box.get_points(), axis=0)) < np.array(box.size) / 2 + room
    return np.asarray(inside.all(axis=1))


def _offsets() -> Iterator[Offset]:
    """Offsets in points with the alignment of the text, the nearest first."""
    for ring in range(1, _RINGS + 1):
        for vertical in (1.0, -1.0, 0.0):
            if vertical:
                yield 0.0, vertical * _GAP * ring, "center"
            yield 0.8 * _GAP * ring, vertical * _GAP * ring, "left"
            yield -0.8 * _GAP * ring, vertical * _GAP * ring, "right"


def _moved(annotation: "Annotation", offset: Offset) -> "Bbox":
    annotation.set_position(offset[:2])
    annotation.set_horizontalalignment(offset[2])
    box = annotation.get_window_extent()
    return box.expanded(_WIDER, 1.0)


def _add_leader(axes: "Axes", label: Label, annotation: "Annotation") -> None:
    across, up = annotation.get_position()
    axes.annotate(
        "",
        label.point,
        xytext=(across, up - np.sign(up) * 0.6 * _FONT_SIZE),
        textcoords="offset points",
        arrowprops={
            "arrowstyle": "-",
            "color": style.MUTED,
            "linewidth": 0.7,
            "shrinkA": 1.0,
            "shrinkB": 4.0,
        },
        zorder=1,
    )
