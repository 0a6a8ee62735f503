# SPDX-License-Identifier: MIT
"""Drawings as SVG and DXF, one unit of length for one millimetre."""

import io
from typing import NamedTuple
from xml.etree import ElementTree

import numpy as np

from annelid.geometry.body import FloatArray
from annelid.results.fabrication.drawing import (
    CUT,
    GROUND,
    MARKS,
    NET,
    SCALE,
    TEXT,
    VOLTAGE,
    Drawing,
)

__all__ = ["dxf", "svg"]

_MARGIN = 4.0  # mm


class _Style(NamedTuple):
    """Stroke, fill, width in mm and dashes of SVG lines, and the colour number of the DXF layer."""

    stroke: str
    fill: str
    width: float
    dashes: str
    colour: int


_STYLES = {
    CUT: _Style("#111111", "none", 0.25, "", 7),
    NET: _Style("#444444", "none", 0.18, "2 1", 8),
    VOLTAGE: _Style("#a5302a", "#f0c9c6", 0.2, "", 1),
    GROUND: _Style("#0e6a6f", "#c4e0e1", 0.2, "", 4),
    MARKS: _Style("#8a8f93", "none", 0.12, "", 9),
    SCALE: _Style("#111111", "none", 0.3, "", 7),
}


def svg(drawing: Drawing, *, scale: float = 1.0, name: str = "masks") -> str:
    """Return the drawing as SVG text whose width and height are in mm.

    Args:
        drawing: The drawing.
        scale: Size on paper over true size.
        name: Title for screen readers.
    """
    low, high = drawing.low - _MARGIN, drawing.high + _MARGIN
    width, height = high - low
    attributes = {
        "xmlns": "http://www.w3.org/2000/svg",
        "width": f"{scale * width:.6f}mm",
        "height": f"{scale * height:.6f}mm",
        "viewBox": f"0 0 {width:.6f} {height:.6f}",
        "role": "img",
    }
    root = ElementTree.Element("svg", attributes)
    ElementTree.SubElement(root, "title").text = name
    for kind, style in _STYLES.items():
        group = ElementTree.SubElement(root, "g", _presentation(kind, style))
        for line in drawing.lines:
            if line.kind == kind:
                places = " ".join(f"{x:.4f},{y:.4f}" for x, y in _downwards(line.points, low, high))
                ElementTree.SubElement(group, "polygon" if line.closed else "polyline", points=places)
    texts = {"font-family": "sans-serif", "font-size": f"{TEXT:g}", "fill": "#111111"}
    group = ElementTree.SubElement(root, "g", texts)
    for label in drawing.labels:
        ((x, y),) = _downwards(np.array([label.place]), low, high)
        ElementTree.SubElement(group, "text", x=f"{x:.4f}", y=f"{y:.4f}").text = label.text
    return ElementTree.tostring(root, encoding="unicode")


def dxf(drawing: Drawing) -> bytes:
    """Return the drawing as a DXF file in mm, with one layer for each kind of line."""
    import ezdxf
    from ezdxf import units

    document = ezdxf.new("R2010", units=units.MM)
    space = document.modelspace()
    for kind, style in _STYLES.items():
        document.layers.add(kind.upper(), color=style.colour)
    for line in drawing.lines:
        space.add_lwpolyline(line.points.tolist(), close=line.closed, dxfattribs={"layer": line.kind.upper()})
    for label in drawing.labels:
        text = space.add_text(label.text, height=TEXT, dxfattribs={"layer": SCALE.upper()})
        text.set_placement(label.place)
    content = io.StringIO()
    document.write(content)
    return bytes(document.encode(content.getvalue()))


def _presentation(kind: str, style: _Style) -> dict[str, str]:
    attributes = {"id": kind, "stroke": style.stroke, "fill": style.fill, "stroke-width": f"{style.width:g}"}
    return attributes | ({"stroke-dasharray": style.dashes} if style.dashes else {})


def _downwards(points: FloatArray, low: FloatArray, high: FloatArray) -> FloatArray:
    """Places in the frame of SVG, whose y axis points down from the upper left corner."""
    return np.column_stack([points[:, 0] - low[0], high[1] - points[:, 1]])
