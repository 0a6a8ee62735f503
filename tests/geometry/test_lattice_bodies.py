# SPDX-License-Identifier: MIT
"""Solid meshes of walls with lattices: volumes, closed surfaces, names, quality, errors."""

import math

import numpy as np
import pytest
from lattices import pattern_of
from measuring import cell_volumes

from annelid.geometry.elements import FACETS
from annelid.geometry.errors import InputError
from annelid.geometry.lattice.chart import chart_of
from annelid.geometry.lattice.footprint import footprint
from annelid.geometry.lattice.wrapping import wrap
from annelid.geometry.lattice_mesh import flat_mesh
from annelid.geometry.lattice_mesh.flat_mesh import mesh_flat
from annelid.geometry.lattice_mesh.lattice_body import lattice_body
from annelid.geometry.lattice_mesh.lattice_sheet import LatticeMeshSize, RingElectrode
from annelid.geometry.meshing.quality import quality
from annelid.geometry.shapes.balloon import Balloon
from annelid.geometry.shapes.meridian_profiles import necked
from annelid.geometry.shapes.shape import Layer
from annelid.geometry.shapes.tube import Tube

RADIUS, WALL, HEIGHT = 5.0, 0.4, 0.5
TUBE = Tube(RADIUS, 14.0, (Layer("liner", 0.1), Layer("skin", 0.3)))
NECKED = Balloon(necked(8.0, 30.0, 4.0, 2.0), (Layer("skin", 0.3),))
COARSE = LatticeMeshSize(along=2.0, on_struts=0.8)


def wrapped(shape=TUBE, kind="re-entrant", side="outside", **sizes):
    sizes = {"around": 6, "ring": 0.6} | sizes
    return wrap(pattern_of(kind), chart_of(shape, side), height=HEIGHT, side=side, **sizes)


def region_volumes(body):
    volumes = cell_volumes(body)
    return {name: volumes[cells].sum() for name, cells in body.regions.items()}


def corners_twice(body):
    """Pairs of different corners of cells at the same place."""
    corners = np.unique(body.cells[:, :4])
    return len(corners) - len(np.unique(np.round(body.points[corners], 7), axis=0))


@pytest.mark.exact
def test_volumes_are_those_of_the_tube_and_of_the_footprint():
    # Exact: the covered fraction of a ring of height h on the radius R.
    lattice = wrapped()
    body = lattice_body(lattice, TUBE.layers, COARSE)
    volumes = region_volumes(body)
    outer, length = RADIUS + WALL, TUBE.length
    edges = RADIUS + np.array([0.0, 0.1, 0.4])
    for name, a, b in (("liner", *edges[:2]), ("skin", *edges[1:])):
        assert volumes[name] == pytest.approx(math.pi * (b * b - a * a) * length, rel=1e-4)
    covered = footprint(lattice)
    ring = math.pi * ((outer + HEIGHT) ** 2 - outer**2) * (covered.high - covered.low) * outer
    assert volumes["lattice"] == pytest.approx(covered.covered_fraction * ring, rel=3e-3)


@pytest.mark.parametrize("kind", ["re-entrant", "hexachiral", "diamond", "sinusoidal"])
def test_the_mesh_is_closed_around(kind):
    body = lattice_body(wrapped(kind=kind), TUBE.layers, COARSE)
    assert corners_twice(body) == 0
    _, local = FACETS["tetra10"]
    faces = np.sort(body.cells[:, local[:, :3]].reshape(-1, 3), axis=1)
    _, count = np.unique(faces, axis=0, return_counts=True)
    assert count.max() == 2
    free = sum(len(body.surfaces[name]) for name in ("lumen", "outer", "end_low", "end_high"))
    assert (count == 1).sum() == free
    r = np.hypot(body.points[:, 0], body.points[:, 1])
    lumen = body.surface_nodes("lumen")
    np.testing.assert_allclose(r[lumen], RADIUS, rtol=1e-12)  # including mid-side nodes


def test_ten_by_six_cells_on_a_necked_balloon():
    shape = Balloon(necked(10.0, 40.0, 5.0, 3.0), (Layer("skin", 0.3),))
    cells = pattern_of("re-entrant", vertical=6.0, inclined=3.7, angle=25.0, width=0.7)
    lattice = wrap(cells, chart_of(shape), height=0.8, around=10, ring=1.0)
    assert (lattice.around, lattice.along) == (10, 6)
    body = lattice_body(lattice, shape.layers, LatticeMeshSize(along=3.0, on_struts=2.0, separate_rings=True))
    assert list(body.regions) == ["skin", "lattice", "end ring"]
    assert {"skin|lattice", "skin|end ring", "lattice|end ring"} <= set(body.surfaces)
    assert quality(body).minimum_scaled_jacobian > 0.015
    assert 20_000 < len(body.points) < 45_000


def test_struts_inside_leave_the_lumen_closed():
    body = lattice_body(wrapped(side="inside"), TUBE.layers, COARSE)
    r = np.hypot(body.points[:, 0], body.points[:, 1])
    assert r.min() == pytest.approx(RADIUS - HEIGHT)
    lumen, outer = (body.surface_nodes(name) for name in ("lumen", "outer"))
    assert r[lumen].max() == pytest.approx(RADIUS)
    np.testing.assert_allclose(r[outer], RADIUS + WALL)


@pytest.mark.exact
def test_embedded_struts_replace_the_wall():
    layers = (Layer("skin", 1.2),)
    tube = Tube(RADIUS, 14.0, layers)
    body = lattice_body(wrapped(tube, side="embedded"), layers, COARSE)
    volumes = region_volumes(body)
    whole = math.pi * ((RADIUS + 1.2) ** 2 - RADIUS**2) * tube.length
    assert volumes["skin"] + volumes["lattice"] == pytest.approx(whole, rel=1e-4)
    assert 0.05 * whole < volumes["lattice"] < 0.25 * whole
    with pytest.raises(InputError, match="extend beyond the wall"):
        lattice_body(wrapped(side="embedded"), TUBE.layers, COARSE)


@pytest.mark.long
@pytest.mark.exact
@pytest.mark.parametrize("kind", ["re-entrant", "hexachiral"])
def test_embedded_struts_in_a_necked_balloon_all_around(kind):
    layers = (Layer("skin", 0.9),)
    balloon = Balloon(necked(8.0, 30.0, 4.0, 2.0), layers)
    body = lattice_body(wrapped(balloon, kind, side="embedded", around=8), layers, COARSE)
    volumes = region_volumes(body)
    # Region by formula: Pappus's rule along the meridian.
    assert volumes["skin"] + volumes["lattice"] == pytest.approx(balloon.region_volume("skin"), rel=1e-4)
    assert corners_twice(body) == 0
    assert {"lumen", "outer", "end_low", "end_high", "skin|lattice"} == set(body.surfaces)


def test_a_sector_is_a_fraction_of_the_part():
    lattice = wrapped(NECKED)
    whole = region_volumes(lattice_body(lattice, NECKED.layers, COARSE))
    body = lattice_body(lattice, NECKED.layers, LatticeMeshSize(along=2.0, on_struts=0.8, sector=30.0))
    assert body.multiplicity == pytest.approx(12)
    for name, volume in region_volumes(body).items():
        assert volume * body.multiplicity == pytest.approx(whole[name], rel=2e-3)
    low, high = (body.points[body.surface_nodes(s)] for s in ("side_low", "side_high"))
    np.testing.assert_allclose(low[:, 1], 0.0, atol=1e-12)
    np.testing.assert_allclose(np.arctan2(high[:, 1], high[:, 0]), math.radians(30.0), rtol=1e-9)


def test_electrodes_have_cell_edges_at_their_edges():
    lattice = wrapped()
    chart = lattice.chart
    low, high = (float(chart.v_at_arc(np.array(z))) for z in (3.0, 10.0))
    body = lattice_body(lattice, TUBE.layers, COARSE, electrodes=[RingElectrode("middle", "skin", low, high)])
    cells = body.points[body.cells[body.bands["middle"]]]
    assert cells[..., 2].min() == pytest.approx(3.0, abs=1e-6)
    assert cells[..., 2].max() == pytest.approx(10.0, abs=1e-6)
    assert set(body.bands["middle"]) < set(body.regions["skin"])


def test_impossible_meshes_are_rejected():
    with pytest.raises(InputError, match="has no planes of symmetry"):
        lattice_body(wrapped(kind="hexachiral"), TUBE.layers, LatticeMeshSize(along=2.0, sector=60.0))
    with pytest.raises(InputError, match=r"with 6 cells around it must be a multiple of 30 deg"):
        lattice_body(wrapped(), TUBE.layers, LatticeMeshSize(along=2.0, sector=45.0))
    with pytest.raises(InputError, match="mesh: on_struts: must be above 0 mm, got 0 mm"):
        LatticeMeshSize(along=2.0, on_struts=0.0)


def test_pattern_with_unmatched_edges_is_rejected(monkeypatch):
    slanted = np.array([(0.0, 0.2), (1.0, 0.6), (1.0, 0.8), (0.0, 0.4)])
    assert len(mesh_flat([(slanted, ())], (1.0, 1.0), fine=0.1, periodic="x").triangles) > 10
    monkeypatch.setattr(flat_mesh, "_match_periodic_edges", lambda *_: False)
    with pytest.raises(InputError, match="does not match itself"):
        mesh_flat([(slanted, ())], (1.0, 1.0), fine=0.1, periodic="x")
    with pytest.raises(InputError, match="no strut lies within"):
        mesh_flat([(slanted + 5.0, ())], (1.0, 1.0), fine=0.1, periodic="")
