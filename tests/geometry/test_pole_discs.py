# SPDX-License-Identifier: MIT
"""Walls with lattices and closed poles: volumes, closed surfaces, charts near a pole, sectors."""

import math

import numpy as np
import pytest
from lattices import pattern_of
from measuring import cell_volumes, enclosed_volume

from annelid.geometry.lattice.chart import RevolutionChart, chart_of
from annelid.geometry.lattice.wrapping import wrap
from annelid.geometry.lattice_mesh.lattice_body import lattice_body
from annelid.geometry.lattice_mesh.lattice_sheet import LatticeMeshSize, RingElectrode
from annelid.geometry.meshing.fill import graded_divisions
from annelid.geometry.meshing.quality import quality
from annelid.geometry.shapes.balloon import Balloon
from annelid.geometry.shapes.dome import Dome
from annelid.geometry.shapes.meridian_profiles import sphere
from annelid.geometry.shapes.shape import Layer

RADIUS = 8.0
SPHERE = Balloon(sphere(RADIUS), (Layer("liner", 0.1), Layer("skin", 0.3)))
DOME = Dome(8.0, 3.0, (Layer("skin", 0.4),))
COARSE = LatticeMeshSize(along=2.0, on_struts=0.8)


def body_on(shape, kind="re-entrant", size=COARSE, side="outside", electrodes=(), **options):
    options = {"around": 8, "ring": 0.6} | options
    lattice = wrap(pattern_of(kind), chart_of(shape, side), height=0.5, side=side, **options)
    return lattice_body(lattice, shape.layers, size, electrodes=electrodes)


def euler_characteristic(body, surface):
    """Corners - edges + facets of a surface; each edge must belong to two facets, in opposite directions."""
    corners = body.facets[body.surfaces[surface]][:, :3]
    edges = np.concatenate([corners[:, [0, 1]], corners[:, [1, 2]], corners[:, [2, 0]]])
    ways = np.unique(edges, axis=0)
    assert len(ways) == len(edges)
    assert {tuple(edge) for edge in ways} == {tuple(edge) for edge in ways[:, ::-1]}
    return len(np.unique(corners)) - len(edges) // 2 + len(corners)


@pytest.fixture(scope="module")
def closed():
    return body_on(SPHERE)


@pytest.mark.long
@pytest.mark.exact
def test_volumes_of_a_closed_sphere(closed):
    volumes = cell_volumes(closed)
    for name, low, high in (("liner", 8.0, 8.1), ("skin", 8.1, 8.4)):
        exact = 4 / 3 * math.pi * (high**3 - low**3)
        assert volumes[closed.regions[name]].sum() == pytest.approx(exact, rel=1e-5)
    assert enclosed_volume(closed) == pytest.approx(4 / 3 * math.pi * RADIUS**3, rel=1e-5)


@pytest.mark.exact
def test_surfaces_of_a_sphere_are_closed_and_lie_on_it(closed):
    # Euler characteristic of a sphere: 2; struts are bumps, not handles.
    assert euler_characteristic(closed, "lumen") == 2
    assert euler_characteristic(closed, "outer") == 2
    assert {"end_low", "end_high"}.isdisjoint(closed.surfaces)
    distance = np.linalg.norm(closed.points - [0.0, 0.0, RADIUS], axis=1)
    for surface, radius in (("lumen", 8.0), ("liner|skin", 8.1), ("skin|lattice", 8.4)):
        nodes = closed.surface_nodes(surface)
        np.testing.assert_allclose(distance[nodes], radius, rtol=1e-12)  # including mid-side nodes
    np.testing.assert_allclose(distance.max(), 8.9, rtol=1e-12)
    out = (closed.points - [0.0, 0.0, RADIUS]) / distance[:, None]
    np.testing.assert_allclose(closed.normal, out, atol=1e-8)
    np.testing.assert_allclose(np.einsum("ij,ij->i", closed.hoop, closed.normal), 0.0, atol=1e-12)


def test_discs_over_poles_are_well_meshed(closed):
    height = closed.points[closed.cells].mean(axis=(1, 2))
    assert quality(closed).minimum_scaled_jacobian > 0.01
    assert quality(closed).maximum_aspect_ratio < 20.0
    assert np.ptp(height) > RADIUS


@pytest.mark.long
@pytest.mark.exact
@pytest.mark.parametrize("side", ["inside", "embedded"])
def test_struts_on_other_sides(side):
    layers = (Layer("skin", 0.9),)
    body = body_on(Balloon(sphere(RADIUS), layers), side=side)
    volume = sum(cell_volumes(body)[body.regions[name]].sum() for name in ("skin", "lattice"))
    wall = 4 / 3 * math.pi * ((RADIUS + 0.9) ** 3 - RADIUS**3)
    assert euler_characteristic(body, "lumen") == 2
    if side == "embedded":
        assert volume == pytest.approx(wall, rel=1e-5)
    else:
        assert cell_volumes(body)[body.regions["skin"]].sum() == pytest.approx(wall, rel=1e-5)


@pytest.mark.exact
def test_a_sector_is_a_fraction_of_the_part():
    size = LatticeMeshSize(along=2.0, on_struts=0.8, sector=45.0)
    body = body_on(SPHERE, size=size)
    assert body.multiplicity == pytest.approx(8)
    wall = 4 / 3 * math.pi * (8.4**3 - 8.1**3)
    assert cell_volumes(body)[body.regions["skin"]].sum() * 8 == pytest.approx(wall, rel=1e-5)
    low, high = (body.surface_nodes(side) for side in ("side_low", "side_high"))
    np.testing.assert_allclose(body.points[low, 1], 0.0, atol=1e-12)
    x, y, _ = body.points[high].T
    np.testing.assert_allclose(x - y, 0.0, atol=1e-9)
    on_axis = np.flatnonzero(np.hypot(*body.points[:, :2].T) < 1e-9)
    np.testing.assert_array_equal(np.intersect1d(low, high), on_axis)
    assert len(on_axis) == 2 * 5  # through two layers at either pole, mid-side nodes too


@pytest.mark.exact
@pytest.mark.parametrize("hole", [0.0, 2.0])
def test_domes_with_and_without_a_hole(hole):
    dome = Dome(8.0, 3.0, DOME.layers, hole)
    body = body_on(dome, "diamond", LatticeMeshSize(along=1.5, on_struts=0.6), around=14, ring=0.3)
    volume = cell_volumes(body)[body.regions["skin"]].sum()
    assert volume == pytest.approx(dome.region_volume("skin"), rel=1e-4)
    assert "end_low" in body.surfaces
    assert ("end_high" in body.surfaces) == bool(hole)
    rim = body.points[body.surface_nodes("end_low")]
    assert np.hypot(rim[:, 0], rim[:, 1]).min() == pytest.approx(8.0)


@pytest.mark.exact
def test_an_electrode_may_cover_the_pole():
    # Volume of a spherical layer between two latitudes: 2/3 pi (b^3 - a^3) (sin high - sin low).
    edge = math.radians(40.0)
    ring = RingElectrode("top", "skin", math.atanh(math.sin(edge)), math.inf)
    body = body_on(SPHERE, electrodes=[ring])
    volume = cell_volumes(body)[body.bands["top"]].sum()
    assert volume == pytest.approx(2 / 3 * math.pi * (8.4**3 - 8.1**3) * (1 - math.sin(edge)), rel=1e-4)


@pytest.mark.exact
def test_the_chart_near_a_pole():
    # Mercator's map: at the polar distance a of a sphere v = log(1 / tan(a / 2)).
    chart = RevolutionChart(sphere(RADIUS))
    away = np.array([1e-7, 1e-3, 5e-3, 0.1])
    v = np.log(1 / np.tan(away / 2))
    high, low = RADIUS * (math.pi - away), RADIUS * away
    np.testing.assert_allclose(chart.v_at_arc(high), v, rtol=1e-7)
    np.testing.assert_allclose(chart.v_at_arc(low), -v, rtol=1e-7)
    np.testing.assert_allclose(math.pi * RADIUS - chart.arc_at(v), RADIUS * away, rtol=1e-6, atol=1e-14)
    ends = np.array([0.0, chart.meridian.length])
    assert chart.v_at_arc(ends).tolist() == [-math.inf, math.inf]
    np.testing.assert_array_equal(chart.arc_at(np.array([-math.inf, math.inf])), ends)


def test_edges_of_a_line_grow_from_its_ends():
    at = graded_divisions(10.0, (0.1, 0.5), 2.0)
    steps = np.diff(at)
    assert (at[0], at[-1]) == (0.0, 10.0)
    assert steps[0] < 0.2
    assert steps[-1] < 0.9
    assert steps.max() == pytest.approx(2.0, rel=0.2)
