# SPDX-License-Identifier: MIT
"""Sleeves with lattices on a core: volumes, conforming meshes, nodes on cylinders, sectors, names."""

import math

import numpy as np
import pytest
from lattices import pattern_of
from measuring import area, cell_volumes, enclosed_volume

from annelid.geometry.elements import FACETS
from annelid.geometry.lattice.chart import chart_of
from annelid.geometry.lattice.wrapping import wrap
from annelid.geometry.lattice_mesh.core_surface import Core, CoreSurface
from annelid.geometry.lattice_mesh.lattice_body import lattice_body
from annelid.geometry.lattice_mesh.lattice_sheet import LatticeMeshSize
from annelid.geometry.meshing.fill import fill_plane, fill_volume
from annelid.geometry.meshing.quality import quality
from annelid.geometry.shapes.shape import Layer
from annelid.geometry.shapes.sleeve import Sleeve

RADIUS, LENGTH = 4.0, 12.0
LAYERS = (Layer("liner", 0.1), Layer("skin", 0.3))
CASES = {
    "solid": (0.0, 0.0, 360.0),
    "hollow": (2.0, 0.0, 360.0),
    "solid, overhanging": (0.0, 2.5, 360.0),
    "hollow, overhanging": (2.0, 2.5, 360.0),
    "sector, solid, overhanging": (0.0, 2.5, 60.0),
    "sector, hollow": (2.0, 0.0, 60.0),
    "sector, hollow, overhanging": (2.0, 2.5, 30.0),
}


def cored(inner, overhang, sector, side="outside"):
    sleeve = Sleeve(RADIUS, LENGTH, LAYERS, core_inner_radius=inner, core_overhang=overhang)
    height = 0.5 if side == "outside" else 0.2
    lattice = wrap(
        pattern_of("re-entrant"), chart_of(sleeve, side), height=height, side=side, around=6, ring=0.6
    )
    core = Core(radius=RADIUS, inner_radius=inner, low=0.0, high=LENGTH + 2 * overhang, along=2.0)
    return lattice_body(lattice, LAYERS, LatticeMeshSize(along=2.0, on_struts=1.0, sector=sector), core=core)


@pytest.fixture(scope="module", params=CASES)
def case(request):
    return CASES[request.param], cored(*CASES[request.param])


@pytest.mark.exact
def test_volumes_and_areas_are_those_of_cylinders(case):
    (inner, overhang, _), body = case
    top = LENGTH + 2 * overhang
    volumes = cell_volumes(body)
    core = math.pi * (RADIUS**2 - inner**2) * top
    assert volumes[body.regions["core"]].sum() * body.multiplicity == pytest.approx(core, rel=2e-5)
    skin = math.pi * (4.4**2 - 4.1**2) * LENGTH
    assert volumes[body.regions["skin"]].sum() * body.multiplicity == pytest.approx(skin, rel=1e-5)
    assert area(body, "core|liner") == pytest.approx(2 * math.pi * RADIUS * LENGTH, rel=1e-5)
    assert area(body, "core_end_high") == pytest.approx(math.pi * (RADIUS**2 - inner**2), rel=2e-4)
    if overhang:
        assert area(body, "core_side") == pytest.approx(4 * math.pi * RADIUS * overhang, rel=1e-4)
    if inner:
        assert enclosed_volume(body) == pytest.approx(math.pi * inner**2 * top, rel=1e-4)


def test_core_and_wall_share_their_nodes(case):
    _, body = case
    _, local = FACETS["tetra10"]
    faces = np.sort(body.cells[:, local].reshape(-1, 6), axis=1)  # including mid-side nodes
    every, count = np.unique(faces, axis=0, return_counts=True)
    assert count.max() == 2
    free = {tuple(face) for face in every[count == 1]}
    named = [
        tuple(sorted(face))
        for name, members in body.surfaces.items()
        if "|" not in name
        for face in body.facets[members]
    ]
    assert len(named) == len(free)
    assert set(named) == free
    assert len(np.unique(np.round(body.points, 8), axis=0)) == len(body.points)


def test_names_and_positions_of_surfaces(case):
    (inner, overhang, sector), body = case
    wanted = {"outer", "end_low", "end_high", "core_end_low", "core_end_high", "core|liner", "liner|skin"}
    wanted |= {"skin|lattice"} | ({"lumen"} if inner else set()) | ({"core_side"} if overhang else set())
    assert set(body.surfaces) == wanted | ({"side_low", "side_high"} if sector < 360.0 else set())
    assert next(iter(body.regions)) == "core"
    for name, radius in (("core|liner", RADIUS), ("core_side", RADIUS), ("lumen", inner)):
        if name in body.surfaces:
            nodes = body.surface_nodes(name)
            np.testing.assert_allclose(np.hypot(*body.points[nodes, :2].T), radius, rtol=1e-12)
    low, high = (body.points[body.surface_nodes(f"core_end_{e}"), 2] for e in ("low", "high"))
    np.testing.assert_allclose(low, 0.0, atol=1e-12)
    np.testing.assert_allclose(high, LENGTH + 2 * overhang, rtol=1e-12)
    if sector < 360.0:
        plane = body.points[body.surface_nodes("side_high")]
        off = plane[:, 0] * math.sin(math.radians(sector)) - plane[:, 1] * math.cos(math.radians(sector))
        np.testing.assert_allclose(off, 0.0, atol=1e-9)


def test_core_facets_point_outwards_and_cells_are_sound(case):
    _, body = case
    for name, sign in (("core|liner", 1.0), ("lumen", -1.0), ("core_side", 1.0)):
        if name not in body.surfaces:
            continue
        a, b, c = np.moveaxis(body.points[body.facets[body.surfaces[name]][:, :3]], 1, 0)
        outward = np.einsum("ij,ij->i", np.cross(b - a, c - a)[:, :2], (a + b + c)[:, :2])
        assert (sign * outward > 0).all()
    assert quality(body).regions["core"].minimum_scaled_jacobian > 0.03
    np.testing.assert_allclose(np.linalg.norm(body.normal, axis=1), 1.0, rtol=1e-9)
    np.testing.assert_allclose(np.einsum("ij,ij->i", body.hoop, body.normal), 0.0, atol=1e-9)


@pytest.mark.exact
def test_embedded_struts_in_a_sleeve_on_a_core():
    body = cored(0.0, 0.0, 60.0, side="embedded")
    wall = math.pi * (4.4**2 - 4.0**2) * LENGTH
    volumes = cell_volumes(body)
    found = sum(volumes[body.regions[name]].sum() for name in ("liner", "skin", "lattice"))
    assert found * body.multiplicity == pytest.approx(wall, rel=1e-5)


def test_filled_square_and_cube_keep_their_edges():
    side = np.linspace(0.0, 1.0, 5)[:-1]
    loop = np.concatenate([np.stack([side, 0 * side], 1), np.stack([1 + 0 * side, side], 1)])
    loop = np.concatenate([loop, 1.0 - loop])
    points, triangles = fill_plane([loop], 0.5)
    np.testing.assert_array_equal(points[: len(loop)], loop)
    a, b, c = np.moveaxis(points[triangles], 1, 0)
    assert np.linalg.det(np.stack([b - a, c - a], axis=1)).sum() / 2 == pytest.approx(1.0)
    cube = np.array([(x, y, z) for z in (0.0, 1.0) for x, y in ((0, 0), (1, 0), (1, 1), (0, 1))])
    quads = [(0, 3, 2, 1), (4, 5, 6, 7), (0, 1, 5, 4), (1, 2, 6, 5), (2, 3, 7, 6), (3, 0, 4, 7)]
    faces = np.array([t for q in quads for t in ((q[0], q[1], q[2]), (q[0], q[2], q[3]))])
    inside, cells = fill_volume(cube, faces, 0.5)
    np.testing.assert_array_equal(inside[:8], cube)
    d = inside[cells]
    volume = np.einsum("ij,ij->i", np.cross(d[:, 1] - d[:, 0], d[:, 2] - d[:, 0]), d[:, 3] - d[:, 0]) / 6
    assert volume.min() > 0
    assert volume.sum() == pytest.approx(1.0)


def test_the_surface_of_a_core_is_closed():
    # Euler characteristic: 2 for a solid core, 0 for a hollow one (a torus).
    angle = 2 * math.pi * np.arange(24) / 24
    ring = RADIUS * np.column_stack([np.cos(angle), np.sin(angle)])
    points = np.concatenate([np.column_stack([ring, np.full(24, z)]) for z in (2.0, 5.0)])
    i, j = np.arange(24), np.roll(np.arange(24), -1)
    triangles = np.concatenate([np.stack([i, j, j + 24], 1), np.stack([i, j + 24, i + 24], 1)])
    for inner, characteristic in ((0.0, 2), (1.5, 0)):
        core = Core(radius=RADIUS, inner_radius=inner, low=0.0, high=5.0, along=1.5)
        surface = CoreSurface(core, points, triangles, 2 * math.pi).closed_surface()
        edges = surface.triangles[:, [0, 1, 1, 2, 2, 0]].reshape(-1, 2)
        assert {tuple(e) for e in edges} == {tuple(e) for e in edges[:, ::-1]}
        assert len(surface.points) - len(edges) // 2 + len(surface.triangles) == characteristic
