# SPDX-License-Identifier: MIT
"""Walls with lattices on measured surfaces: volumes, nodes, closed meshes, electrodes, errors."""

import math
from functools import cache

import numpy as np
import pytest
from lattices import pattern_of
from measuring import cell_volumes, enclosed_volume
from scipy.spatial import cKDTree
from scipy.special import ellipe

from annelid.geometry.elements import FACETS
from annelid.geometry.errors import InputError
from annelid.geometry.lattice.chart import PERIOD
from annelid.geometry.lattice.measured_chart import measured_chart
from annelid.geometry.lattice.wrapping import wrap
from annelid.geometry.lattice_mesh.lattice_body import lattice_body
from annelid.geometry.lattice_mesh.lattice_sheet import LatticeMeshSize, RingElectrode
from annelid.geometry.shapes.shape import Layer

ANGLES = PERIOD * np.arange(72) / 72
HEIGHTS = np.linspace(2.0, 16.0, 15)
LONG, SHORT = 7.0, 5.0
LAYERS = (Layer("liner", 0.1), Layer("skin", 0.3))
COARSE = LatticeMeshSize(along=2.5, on_struts=1.2)


@cache
def ellipse():
    radius = LONG * SHORT / np.hypot(SHORT * np.cos(ANGLES), LONG * np.sin(ANGLES))
    return measured_chart(HEIGHTS, np.repeat(radius[:, None], len(HEIGHTS), axis=1))


@cache
def bumpy():
    z, angle = HEIGHTS[None], ANGLES[:, None]
    return measured_chart(HEIGHTS, 6.0 + 0.6 * np.sin(math.pi * (z - 2) / 14) * np.cos(2 * angle + z / 20))


def lattice_on(chart, kind="re-entrant", **options):
    return wrap(pattern_of(kind), chart, height=0.5, around=8, ring=0.6, **options)


@pytest.fixture(scope="module")
def on_ellipse():
    return lattice_body(lattice_on(ellipse()), LAYERS, COARSE)


@pytest.mark.long
@pytest.mark.exact
def test_volumes_of_an_elliptic_tube(on_ellipse):
    # A layer between depths a and b under a convex curve of length L: L (b - a) - pi (b^2 - a^2) (Steiner).
    # Perimeter of an ellipse: 4 a E(1 - b^2/a^2).
    around, length = 4 * LONG * ellipe(1 - (SHORT / LONG) ** 2), np.ptp(HEIGHTS)
    volumes = cell_volumes(on_ellipse)
    for name, a, b in (("skin", 0.0, 0.3), ("liner", 0.3, 0.4)):
        exact = (around * (b - a) - math.pi * (b * b - a * a)) * length
        assert volumes[on_ellipse.regions[name]].sum() == pytest.approx(exact, rel=2e-5)
    lumen = (math.pi * (LONG * SHORT + 0.4**2) - around * 0.4) * length
    assert enclosed_volume(on_ellipse) == pytest.approx(lumen, rel=2e-5)


@pytest.mark.exact
def test_nodes_and_directions_of_an_elliptic_tube(on_ellipse):
    under = on_ellipse.surface_nodes("skin|lattice")
    x, y, _ = on_ellipse.points[under].T  # including mid-side nodes
    np.testing.assert_allclose((x / LONG) ** 2 + (y / SHORT) ** 2, 1.0, atol=2e-5)
    out = np.column_stack([x / LONG**2, y / SHORT**2, 0 * x])
    out /= np.linalg.norm(out, axis=1)[:, None]
    np.testing.assert_allclose(on_ellipse.normal[under], out, atol=1e-3)
    along = np.column_stack([-out[:, 1], out[:, 0], 0 * x])
    np.testing.assert_allclose(on_ellipse.hoop[under], along, atol=1e-3)


@pytest.mark.exact
@pytest.mark.parametrize(
    ("side", "under", "height"),
    [("inside", 0.4, 0.5), pytest.param("embedded", 0.3, 0.2, marks=pytest.mark.long)],
)
def test_struts_under_a_measured_face(side, under, height):
    # Steiner's formula, as above; the struts begin, or have their middle, at the distance ``under`` from the
    # measured outer face.
    chart = measured_chart(HEIGHTS, ellipse().surface.radii, offset=-under)
    lattice = wrap(pattern_of("re-entrant"), chart, height=height, around=8, ring=0.6, side=side)
    body = lattice_body(lattice, LAYERS, COARSE, depth=0.25)
    around, length = 4 * LONG * ellipe(1 - (SHORT / LONG) ** 2), np.ptp(HEIGHTS)
    wall = (around * 0.4 - math.pi * 0.4**2) * length
    volumes = cell_volumes(body)
    struts = volumes[body.regions["lattice"]].sum()
    rest = volumes[body.regions["skin"]].sum() + volumes[body.regions["liner"]].sum()
    assert rest == pytest.approx(wall - (struts if side == "embedded" else 0.0), rel=2e-5)
    outer = body.points[body.surface_nodes("outer")]
    np.testing.assert_allclose((outer[:, 0] / LONG) ** 2 + (outer[:, 1] / SHORT) ** 2, 1.0, atol=2e-5)
    nodes = body.points[np.unique(body.cells[body.regions["lattice"]])]
    depth = -_along_normal(nodes)
    low = under - (height / 2 if side == "embedded" else 0.0)
    assert (depth.min(), depth.max()) == pytest.approx((low, low + height), abs=1e-4)


def _along_normal(points):
    """Distances from the ellipse, negative inside."""
    turn = np.linspace(0.0, PERIOD, 200001)
    return -cKDTree(np.column_stack([LONG * np.cos(turn), SHORT * np.sin(turn)])).query(points[:, :2])[0]


@pytest.mark.long
@pytest.mark.parametrize("kind", ["re-entrant", "hexachiral"])
def test_the_mesh_is_closed_around(kind):
    body = lattice_body(lattice_on(bumpy(), kind), LAYERS[1:], COARSE)
    corners = np.unique(body.cells[:, :4])
    assert len(np.unique(np.round(body.points[corners], 7), axis=0)) == len(corners)
    _, local = FACETS["tetra10"]
    faces = np.sort(body.cells[:, local[:, :3]].reshape(-1, 3), axis=1)
    _, count = np.unique(faces, axis=0, return_counts=True)
    assert count.max() == 2
    assert set(body.surfaces) == {"lumen", "outer", "end_low", "end_high", "skin|lattice"}
    assert (count == 1).sum() == sum(len(body.surfaces[n]) for n in ("lumen", "outer", "end_low", "end_high"))
    assert body.multiplicity == 1.0
    np.testing.assert_allclose(np.einsum("ij,ij->i", body.hoop, body.normal), 0.0, atol=1e-9)


def test_electrode_on_a_straight_surface_keeps_its_heights():
    chart = ellipse()
    ring = RingElectrode("middle", "skin", chart.v_at_height(5.0, "low"), chart.v_at_height(12.5, "high"))
    body = lattice_body(lattice_on(chart), LAYERS, COARSE, electrodes=[ring])
    height = body.points[body.cells[body.bands["middle"]]][..., 2]
    assert (height.min(), height.max()) == pytest.approx((5.0, 12.5), abs=1e-4)


def test_impossible_meshes_are_rejected():
    chart = ellipse()
    with pytest.raises(
        InputError,
        match=r"mesh: model: the surface is not one of revolution: mesh the whole part \(model = 'solid'\)",
    ):
        lattice_body(lattice_on(chart), LAYERS, LatticeMeshSize(along=2.5, sector=180.0))
    with pytest.raises(
        InputError,
        match=r"lattice\.from: must be at least 2 and at most 16 mm \(where the surface was measured\), got",
    ):
        chart.v_at_height(1.0, "lattice.from")
    thick = (Layer("skin", 4.2),)  # the smallest radius of curvature of the ellipse is 25/7 mm
    with pytest.raises(InputError, match=r"a cell of region 'skin' on the .* inverted .* layers thinner or"):
        lattice_body(lattice_on(chart), thick, COARSE)
