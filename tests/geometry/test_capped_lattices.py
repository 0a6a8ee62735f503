# SPDX-License-Identifier: MIT
"""Tubes with lattices and capped ends: volumes, surfaces, conforming meshes, sectors."""

import math

import numpy as np
import pytest
from lattices import pattern_of
from measuring import area, cell_volumes, enclosed_volume

from annelid.geometry.elements import FACETS
from annelid.geometry.lattice.chart import chart_of
from annelid.geometry.lattice.wrapping import wrap
from annelid.geometry.lattice_mesh.capped_body import EndCaps
from annelid.geometry.lattice_mesh.lattice_body import lattice_body
from annelid.geometry.lattice_mesh.lattice_sheet import LatticeMeshSize
from annelid.geometry.shapes.shape import Layer
from annelid.geometry.shapes.tube import Tube

A, LENGTH, THICK = 5.0, 12.0, 0.9
LAYERS = (Layer("liner", 0.2), Layer("skin", 0.4))
B = A + 0.6
CAPS = EndCaps(radius=B, thickness=THICK, length=LENGTH, along=2.5, elements=1)
SIDES = ["outside", "inside", "embedded"]


def capped(side="outside", *, ring=0.5, height=0.3, **size):
    tube = Tube(A, LENGTH, LAYERS)
    chart = chart_of(tube, side)
    lattice = wrap(pattern_of("re-entrant"), chart, height=height, around=8, ring=ring, side=side)
    return lattice_body(lattice, LAYERS, LatticeMeshSize(along=2.5, on_struts=1.2, **size), ends=CAPS)


def nodes_of(body, surface):
    return body.points[body.surface_nodes(surface)]


@pytest.mark.exact
@pytest.mark.parametrize("sector", [360.0, 180.0, 45.0])
def test_caps_are_discs_and_close_the_lumen(sector):
    body = capped(sector=sector)
    share = sector / 360.0
    caps = cell_volumes(body)[body.regions["cap"]].sum()
    assert caps == pytest.approx(share * 2 * math.pi * B**2 * THICK, rel=1e-4)
    assert enclosed_volume(body) == pytest.approx(math.pi * A**2 * LENGTH, rel=1e-4)
    assert area(body, "lumen") == pytest.approx(2 * math.pi * A * (LENGTH + A), rel=1e-4)
    for end, height in (("end_low", -THICK), ("end_high", LENGTH + THICK)):
        assert area(body, end) == pytest.approx(math.pi * B**2, rel=1e-4)
        np.testing.assert_allclose(nodes_of(body, end)[:, 2], height, atol=1e-12)
    assert area(body, "cap_rim") == pytest.approx(4 * math.pi * B * THICK, rel=1e-4)
    np.testing.assert_allclose(np.hypot(*nodes_of(body, "cap_rim")[:, :2].T), B, rtol=1e-9)
    bonded = area(body, "liner|cap") + area(body, "skin|cap")
    assert bonded == pytest.approx(2 * math.pi * (B**2 - A**2), rel=1e-4)


@pytest.mark.parametrize("side", SIDES)
@pytest.mark.parametrize("sector", [360.0, 45.0])
def test_caps_conform_to_the_wall(side, sector):
    # Every face lies between two cells or in one named free surface; the closed boundary has no net area.
    body = capped(side, sector=sector)
    local = FACETS["tetra10"][1]
    corners = np.unique(body.cells[:, :4])
    assert len(np.unique(np.round(body.points[corners], 7), axis=0)) == len(corners)
    faces = body.cells[:, local].reshape(-1, 6)
    _, count = np.unique(np.sort(faces[:, :3], axis=1), axis=0, return_counts=True)
    free = [name for name in body.surfaces if "|" not in name]
    named = np.concatenate([body.surfaces[name] for name in free])
    assert count.max() == 2
    assert (count == 1).sum() == len(named) == len(np.unique(named))
    assert set(free) == {"lumen", "outer", "end_low", "end_high", "cap_rim"} | (
        {"side_low", "side_high"} if sector < 360 else set()
    )
    x = body.points[body.facets[named]]
    np.testing.assert_allclose(np.cross(x[:, 1] - x[:, 0], x[:, 2] - x[:, 0]).sum(axis=0), 0.0, atol=1e-9)
    _, middles = np.unique(np.sort(faces, axis=1), axis=0, return_counts=True)
    assert (middles == 2).sum() == (count == 2).sum()  # mid-side nodes are shared as well
    assert body.points[np.unique(body.cells)].shape == body.points.shape
    along = np.einsum("ij,ij->i", body.hoop, body.normal)
    np.testing.assert_allclose(along, 0.0, atol=1e-9)


@pytest.mark.exact
def test_struts_inside_are_bonded_to_the_caps():
    body = capped("inside")
    assert area(body, "lattice|cap") == pytest.approx(2 * math.pi * (A**2 - (A - 0.3) ** 2), rel=1e-3)
    caps = cell_volumes(body)[body.regions["cap"]].sum()
    assert caps == pytest.approx(2 * math.pi * B**2 * THICK, rel=1e-4)


@pytest.mark.exact
def test_caps_conform_to_struts_without_a_ring():
    body = capped("inside", ring=0.0)
    assert cell_volumes(body).min() > 0.0
    assert cell_volumes(body)[body.regions["cap"]].sum() == pytest.approx(
        2 * math.pi * B**2 * THICK, rel=1e-3
    )
