# SPDX-License-Identifier: MIT
"""Closest points against exact distances and against an independent search."""

import numpy as np
import pytest
import pyvista as pv
from nominal_shapes import ball, even_directions, tube

from annelid.compare.alignment.closest import SurfaceLocator
from annelid.compare.alignment.nominal import nominal_mesh
from annelid.geometry.errors import InputError

ROUNDING = 1e-9


def box(half=(1.0, 2.0, 3.0)):
    mesh = pv.Cube(x_length=2 * half[0], y_length=2 * half[1], z_length=2 * half[2]).triangulate()
    return nominal_mesh(np.asarray(mesh.points, dtype=float), mesh.regular_faces)


@pytest.mark.exact
def test_distances_from_a_box_with_sharp_edges():
    half = np.array([1.0, 2.0, 3.0])
    x = np.random.default_rng(0).uniform(-5.0, 5.0, (4000, 3))
    # The exact signed distance of a box: outside that of the nearest face, edge or corner.
    over = np.abs(x) - half
    exact = np.linalg.norm(np.maximum(over, 0.0), axis=1) + np.minimum(over.max(axis=1), 0.0)
    found = SurfaceLocator(box()).closest(x)
    np.testing.assert_allclose(found.signed, exact, atol=ROUNDING)
    assert (exact < 0).any()
    assert not found.beyond.any()  # the box is closed
    np.testing.assert_allclose(np.linalg.norm(x - found.foot, axis=1), np.abs(exact), atol=ROUNDING)


@pytest.mark.reference
def test_distances_agree_with_the_implicit_distance_of_vtk():
    surface = tube(around=60)
    rng = np.random.default_rng(1)
    x = surface.sampled(3000)[0] * rng.uniform(0.3, 1.7, (3000, 1))
    mesh = pv.PolyData.from_regular_faces(surface.points, surface.triangles)
    reference = np.asarray(pv.PolyData(x).compute_implicit_distance(mesh)["implicit_distance"])
    found = SurfaceLocator(surface).closest(x)
    np.testing.assert_allclose(np.abs(found.signed), np.abs(reference), atol=1e-8)
    inside = ~found.beyond
    np.testing.assert_array_equal(np.sign(found.signed[inside]), np.sign(reference[inside]))


def test_points_beyond_an_open_edge_have_no_partner():
    surface = tube(length=60.0)
    heights = np.array([-0.5, -1e-3, 1e-3, 30.0, 60.0 - 1e-3, 60.0 + 1e-3, 61.0])
    x = np.column_stack([np.full(7, 15.2), np.zeros(7), heights])
    found = SurfaceLocator(surface).closest(x)
    assert found.beyond.tolist() == [True, True, False, False, False, True, True]
    np.testing.assert_allclose(found.signed[2:5], 0.2, atol=1e-3)
    # A point straight above the edge has its partner on it.
    normal = surface.normals[0]
    edge = surface.points[surface.triangles[0]]
    lowest = edge[edge[:, 2] == edge[:, 2].min()].mean(axis=0)
    assert not SurfaceLocator(surface).closest((lowest + 0.1 * normal)[None]).beyond[0]


def test_a_hole_in_the_surface_is_an_open_edge():
    whole = ball(10.0, fineness=4)
    kept = whole.corners.mean(axis=1)[:, 2] < 8.0
    holed = nominal_mesh(whole.points, whole.triangles[kept])
    x = 10.5 * even_directions(2000)
    found = SurfaceLocator(holed).closest(x)
    assert found.beyond[x[:, 2] > 9.0].all()
    assert not found.beyond[x[:, 2] < 7.0].any()
    assert not SurfaceLocator(whole).closest(x).beyond.any()


def test_barycentric_coordinates_make_the_point_again():
    surface = ball(fineness=2)
    x, triangle = surface.sampled(500)
    weights = surface.barycentric(x, triangle)
    np.testing.assert_allclose(np.einsum("nk,nkj->nj", weights, surface.corners[triangle]), x, atol=ROUNDING)
    assert weights.min() > 0.0


@pytest.mark.exact
def test_measures_of_a_surface():
    cube = box((1.0, 2.0, 3.0))
    assert cube.areas.sum() == pytest.approx(8.0 * (2.0 + 3.0 + 6.0))
    np.testing.assert_allclose(cube.centroid, 0.0, atol=ROUNDING)
    np.testing.assert_allclose(cube.principal[0], [6.0, 4.0, 2.0])
    corner = np.flatnonzero((cube.points > 0).all(axis=1))[0]
    # By angles, not by triangles, the normal at a corner of a box has equal components.
    np.testing.assert_allclose(cube.vertex_normals[corner], 1.0 / np.sqrt(3.0))
    assert not cube.open_points.any()


@pytest.mark.parametrize(
    ("points", "message"),
    [
        (np.zeros((3, 3)), "none of its 1 triangles has an area"),
        (np.array([[0, 0, np.nan], [1, 0, 0], [0, 1, 0]]), "not finite"),
    ],
)
def test_meshes_without_area_or_with_gaps_in_numbers_are_refused(points, message):
    with pytest.raises(InputError, match=message):
        nominal_mesh(points.astype(float), np.array([[0, 1, 2]]))
