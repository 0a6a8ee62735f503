# SPDX-License-Identifier: MIT
"""Drawings of masks in millimetres, with the same content for every file format."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from annelid.geometry.body import FloatArray
from annelid.geometry.fabrication.mask import (
    Mask,
    cutting_lines,
    electrode_outlines,
    mark_lines,
    net_lines,
)
from annelid.geometry.fabrication.settings import FabricationSettings

__all__ = [
    "CUT",
    "GROUND",
    "MARKS",
    "NET",
    "SCALE",
    "TEXT",
    "VOLTAGE",
    "Drawing",
    "DrawingText",
    "Line",
    "mask_drawing",
]

CUT, NET, MARKS, VOLTAGE, GROUND, SCALE = "cut", "net", "marks", "voltage", "ground", "scale"
TEXT = 3.0  # mm, height of text
_WIDE = 0.6  # of the height: mean width of a letter
_GAP = 12.0  # mm between drawings
_BAR = 50.0  # mm, by which a printed page is checked


class Line(NamedTuple):
    """A line of a drawing layer through points of shape (k, 2), mm."""

    kind: str
    points: FloatArray
    closed: bool = True


class DrawingText(NamedTuple):
    """A text whose lower left corner is at a place, mm."""

    text: str
    place: tuple[float, float]


@dataclass(frozen=True)
class Drawing:
    """Lines and labels, with y upwards.

    Attributes:
        lines: The lines.
        labels: The labels.
    """

    lines: tuple[Line, ...]
    labels: tuple[DrawingText, ...] = ()

    @property
    def low(self) -> FloatArray:
        """Lower left corner, mm."""
        return np.asarray(np.min([corners[0] for corners in self._corners()], axis=0))

    @property
    def high(self) -> FloatArray:
        """Upper right corner, mm."""
        return np.asarray(np.max([corners[1] for corners in self._corners()], axis=0))

    def _corners(self) -> Iterator[tuple[FloatArray, FloatArray]]:
        yield from ((line.points.min(axis=0), line.points.max(axis=0)) for line in self.lines)
        for label in self.labels:
            place = np.array(label.place)
            yield place, place + np.array([_WIDE * len(label.text), 1.0]) * TEXT


def mask_drawing(masks: Sequence[Mask], settings: FabricationSettings) -> Drawing:
    """Return the drawing of some masks side by side, above a bar of 50 mm."""
    lines, labels, x = list[Line](), list[DrawingText](), 0.0
    for mask in masks:
        own = list(_lines(mask, settings))
        low = np.min([line.points.min(axis=0) for line in own], axis=0)
        high = np.max([line.points.max(axis=0) for line in own], axis=0)
        shift = np.array([x - low[0], 2 * _GAP - low[1]])
        lines += [line._replace(points=line.points + shift) for line in own]
        texts = [f"{mask.layer}: {mask.title}", *["voltage" if mask.hot else "ground"] * bool(mask.bands)]
        labels += _names(mask, shift)
        labels += [DrawingText(text, (x, 1.2 * _GAP - 1.4 * n * TEXT)) for n, text in enumerate(texts)]
        x += max(float(high[0] - low[0]), _WIDE * TEXT * max(map(len, texts))) + _GAP
    bar = [[0.0, 0.0], [_BAR, 0.0]]
    ticks = [[[end, -1.0], [end, 1.0]] for end in (0.0, _BAR)]
    lines += [Line(SCALE, np.array(points), closed=False) for points in (bar, *ticks)]
    labels.append(DrawingText(f"{_BAR:g} mm", (_BAR + 2.0, -0.3 * TEXT)))
    return Drawing(tuple(lines), tuple(labels))


def _names(mask: Mask, shift: FloatArray) -> Iterator[DrawingText]:
    """The names of the electrodes in the middle of their first panel, if there are several."""
    if len(mask.bands) < 2:
        return
    for name, edges in mask.bands.items():
        (middle,) = mask.development.place(np.array([np.mean(edges)]), np.array([0.5])) + shift
        yield DrawingText(name, (middle[0] - _WIDE * TEXT * len(name) / 2, middle[1] - TEXT / 2))


def _lines(mask: Mask, settings: FabricationSettings) -> Iterator[Line]:
    yield from (Line(CUT, points) for points in cutting_lines(mask, settings))
    if settings.seam_overlap or settings.allowance:
        yield from (Line(NET, points) for points in net_lines(mask))
    kind = VOLTAGE if mask.hot else GROUND
    yield from (Line(kind, points) for _, points in electrode_outlines(mask, settings))
    yield from (Line(MARKS, points, closed=False) for points in mark_lines(mask, settings))
