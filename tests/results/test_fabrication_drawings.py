# SPDX-License-Identifier: MIT
"""Drawings of masks, read back from SVG and DXF."""

import re
from xml.etree import ElementTree

import ezdxf
import numpy as np
import pytest
from shapely import Point, Polygon

from annelid.geometry.fabrication.cast_face import cast_face
from annelid.geometry.fabrication.development import Development
from annelid.geometry.fabrication.mask import Mask
from annelid.geometry.fabrication.settings import FabricationSettings
from annelid.geometry.shapes.shape import Layer
from annelid.geometry.shapes.tube import Tube
from annelid.results.fabrication.drawing import TEXT, mask_drawing
from annelid.results.fabrication.drawing_files import dxf, svg

SETTINGS = FabricationSettings(tab_width=3.0, tab_length=8.0, allowance=5.0)
FACE = cast_face(Tube(inner_radius=4.0, length=30.0, layers=(Layer("wall", 0.4),)), 0.1, 0.9, 0.8)
MASKS = [
    Mask("wall", f"film {n}", Development(FACE), {"ring": (4.0, 20.0)}, n == 2, 0.9, 0.8) for n in (1, 2)
]
ELECTRODE = 2 * np.pi * 4.1 * 0.9 * 16.0 + 3.0 * 8.0
BLANK = (2 * np.pi * 4.1 * 0.9 + 10.0) * (24.0 + 10.0)


@pytest.mark.parametrize("scale", [1.0, 0.5])
def test_svg_has_its_size_in_millimetres(scale):
    root = ElementTree.fromstring(svg(mask_drawing(MASKS, SETTINGS), scale=scale))
    size = [float(re.fullmatch(r"([\d.]+)mm", root.get(key))[1]) for key in ("width", "height")]
    _, _, *box = map(float, root.get("viewBox").split())
    np.testing.assert_allclose(size, scale * np.array(box), rtol=1e-6)
    groups = {group.get("id"): group for group in root if group.get("id")}

    def polygons(kind):
        texts = (line.get("points") for line in groups[kind])
        return [np.array([place.split(",") for place in text.split()], dtype=float) for text in texts]

    for kind in ("voltage", "ground"):
        assert [Polygon(p).area for p in polygons(kind)] == pytest.approx([ELECTRODE], rel=1e-4)
    assert [Polygon(p).area for p in polygons("cut")] == pytest.approx([BLANK] * 2, rel=1e-4)
    assert np.ptp(polygons("scale")[0][:, 0]) == pytest.approx(50.0)
    places = np.concatenate([p for kind in groups for p in polygons(kind)])
    assert places.min() > 0
    assert np.all(places.max(axis=0) < box)


def test_dxf_has_millimetres_and_a_layer_for_each_kind_of_line(tmp_path):
    (tmp_path / "masks.dxf").write_bytes(dxf(mask_drawing(MASKS, SETTINGS)))
    document = ezdxf.readfile(tmp_path / "masks.dxf")
    assert document.header["$INSUNITS"] == 4  # millimetres, DXF reference
    assert not document.audit().errors
    areas = {}
    for line in document.modelspace().query("LWPOLYLINE"):
        if line.closed:
            areas.setdefault(line.dxf.layer, []).append(Polygon(line.get_points("xy")).area)
    assert areas["VOLTAGE"] == pytest.approx([ELECTRODE], rel=1e-9)
    assert areas["GROUND"] == pytest.approx([ELECTRODE], rel=1e-9)
    assert areas["CUT"] == pytest.approx([BLANK] * 2, rel=1e-9)


def test_each_of_several_electrodes_contains_its_name():
    """Which ring a tab belongs to cannot be seen otherwise."""
    bands = {f"ring_{i}": (5.0 * i, 5.0 * i + 4.0) for i in range(4)}
    drawing = mask_drawing([Mask("wall", "film 1", Development(FACE), bands, False, 0.9, 0.8)], SETTINGS)
    rings = [Polygon(line.points) for line in drawing.lines if line.kind == "ground"]
    for name, ring in zip(bands, rings, strict=True):
        (label,) = (label for label in drawing.labels if label.text == name)
        assert ring.contains(Point(label.place))
        assert ring.contains(Point(label.place[0], label.place[1] + TEXT))
    alone = mask_drawing(MASKS, SETTINGS)
    assert not any(label.text == "ring" for label in alone.labels)
