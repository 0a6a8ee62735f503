# SPDX-License-Identifier: MIT
"""Copies of a column of cells match around a tube and a sphere."""

import numpy as np
import pytest
from lattices import pattern_of

from annelid.geometry.lattice.catalogue import EXAMPLES
from annelid.geometry.lattice.chart import chart_of
from annelid.geometry.lattice.footprint import footprint
from annelid.geometry.lattice.wrapping import wrap
from annelid.geometry.shapes.balloon import Balloon
from annelid.geometry.shapes.meridian_profiles import sphere
from annelid.geometry.shapes.shape import Layer
from annelid.geometry.shapes.tube import Tube

WALL = (Layer("wall", 0.3),)
SHAPES = {
    "tube": Tube(inner_radius=6.0, length=30.0, layers=WALL),
    "sphere": Balloon(sphere(12.0), WALL),
}


def on_side(polygons, u):
    rings = [ring for polygon in polygons for ring in (polygon.outer, *polygon.holes)]
    return np.unique(np.concatenate([ring[ring[:, 0] == u, 1] for ring in rings]))


@pytest.mark.parametrize("shape", SHAPES)
@pytest.mark.parametrize("kind", EXAMPLES)
def test_both_sides_of_a_column_have_the_same_corners(kind, shape):
    lattice = wrap(pattern_of(kind), chart_of(SHAPES[shape]), height=0.5, ring=1.0)
    printed = footprint(lattice)
    left, right = on_side(printed.polygons, 0.0), on_side(printed.polygons, printed.period)
    assert len(left) >= 4  # both rings reach both sides
    assert np.array_equal(left, right)
    assert printed.columns * printed.period == pytest.approx(2 * np.pi, abs=1e-14)
