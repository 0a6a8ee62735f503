# SPDX-License-Identifier: MIT
"""Masks of electrode films and cutting lines of sheets, laid out flat and as cast."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from annelid.geometry.body import FloatArray
from annelid.geometry.fabrication.development import Development
from annelid.geometry.fabrication.settings import FabricationSettings

if TYPE_CHECKING:
    from shapely import Polygon

__all__ = ["Mask", "cutting_lines", "electrode_outlines", "mark_lines"]

_POSITIONS = (0.3, 0.7)  # of tabs along an electrode, by polarity, so that opposite ones do not overlap


@dataclass(frozen=True)
class Mask:
    """A film of electrodes on a sheet, or a sheet without electrodes, laid out flat.

    Attributes:
        layer: The layer of the wall.
        title: What it is and where it lies.
        development: Its face as cast, laid out flat.
        bands: Edges of each electrode by name, as arc lengths as cast, mm; empty for a sheet without one.
        hot: Whether the film carries the voltage; the others are ground.
        hoop: Natural stretch around.
        axial: Natural stretch along the meridian.
    """

    layer: str
    title: str
    development: Development
    bands: dict[str, tuple[float, float]]
    hot: bool
    hoop: float
    axial: float


def electrode_outlines(mask: Mask, settings: FabricationSettings) -> Iterator[tuple[str, FloatArray]]:
    """Yield the name and the outlines of each electrode, with its tab, shape (k, 2), mm."""
    development = mask.development
    for name, (low, high) in mask.bands.items():
        pieces = [_polygon(development.outline(low, high, panel)) for panel in range(development.panels)]
        if settings.tab is not None:
            seam = 0 if mask.hot else development.panels - 1
            pieces[seam] = pieces[seam].union(_polygon(_tab(mask, settings, (low, high))))
        for piece in pieces:
            yield from ((name, line) for line in _lines(piece))


def cutting_lines(mask: Mask, settings: FabricationSettings) -> list[FloatArray]:
    """Return the cutting line of each panel, with the overlap of its seam and the allowance, mm."""
    development, overlap = mask.development, settings.seam_overlap or 0.0
    top, lines = float(development.face.arc[-1]), list[FloatArray]()
    for panel in range(development.panels):
        blank = _polygon(development.outline(0.0, top, panel))
        if overlap:
            edge = development.edge(0.0, top, 1, panel)
            strip = np.concatenate([edge, (edge + overlap * _outward(edge))[::-1]])
            blank = blank.union(_polygon(strip))
        lines += _lines(blank.buffer(settings.allowance or 0.0, join_style="mitre"))
    return lines


def net_lines(mask: Mask) -> list[FloatArray]:
    """Return the outline of each panel without overlap and allowance, mm."""
    top = float(mask.development.face.arc[-1])
    return [mask.development.outline(0.0, top, panel) for panel in range(mask.development.panels)]


def mark_lines(mask: Mask, settings: FabricationSettings) -> list[FloatArray]:
    """Return the lines that are drawn on a sheet before it is stretched, shape (k, 2), mm.

    Mounted, they are ``settings.marks`` apart along the meridian, and on a cylinder also around.
    """
    development, side = mask.development, settings.marks
    if mask.hoop == mask.axial == 1.0:
        return []
    top = float(development.face.arc[-1])
    panels = range(development.panels)
    lines = [development.row(arc, n) for n in panels for arc in _steps(side * mask.axial, top)]
    if development.kind == "rectangle":
        width = 2 * np.pi * float(development.face.radius[0])
        lines += [np.array([[x, 0.0], [x, top]]) for x in _steps(side * mask.hoop, width)]
    return lines


def _steps(step: float, end: float) -> FloatArray:
    return np.arange(step, end, step)


def _tab(mask: Mask, settings: FabricationSettings, edges: tuple[float, float]) -> FloatArray:
    """A rectangle on the seam: on the left edge for films with voltage, on the right one for ground."""
    assert settings.tab is not None
    (width, length), (low, high) = settings.tab, edges
    width = min(width, high - low)
    middle = low + _POSITIONS[mask.hot] * (high - low)
    middle = min(max(middle, low + width / 2), high - width / 2)
    development, side = mask.development, 0 if mask.hot else 1
    panel = 0 if mask.hot else development.panels - 1
    root = development.edge(middle - width / 2, middle + width / 2, side, panel)[[0, -1]]
    out = _outward(root) * (1 if side else -1)
    return np.concatenate([root, (root + length * out)[::-1]])


def _outward(edge: FloatArray) -> FloatArray:
    """Unit vector to the right of an edge that runs upwards."""
    along = (edge[-1] - edge[0]) / np.linalg.norm(edge[-1] - edge[0])
    return np.array([along[1], -along[0]])


def _polygon(line: FloatArray) -> "Polygon":
    from shapely import Polygon

    return Polygon(line).buffer(0.0)


def _lines(shape: Any) -> Sequence[FloatArray]:
    """Outer outlines of a polygon or of several."""
    parts = getattr(shape, "geoms", [shape])
    return [np.array(part.exterior.coords)[:-1] for part in parts]
