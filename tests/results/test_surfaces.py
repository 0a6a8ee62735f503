# SPDX-License-Identifier: MIT
"""Surfaces, read by stock readers, against areas and volumes by formula."""

import meshio
import numpy as np
import pytest
from synthetic_parts import INNER, LENGTH, inflated, meridian_ball, meridian_tube, solid_tube

from annelid.results.fields.surfaces import deformed_surface, ply, stl
from annelid.results.views.rendering import pyvista_off_screen

AROUND = 96
# STL keeps single precision, and so does VTK's PLY reader; meshio reads PLY in double.
SINGLE = 1e-6


def regular_polygon(count, radius):
    """Area of a regular polygon in a circle."""
    return 0.5 * count * radius**2 * np.sin(2.0 * np.pi / count)


def enclosed(surface):
    """Volume by the divergence theorem, positive when the normals point outward."""
    a, b, c = np.moveaxis(surface.points[surface.triangles], 1, 0)
    return np.einsum("ni,ni->", a, np.cross(b, c)) / 6.0


def moved(body, stretch):
    return inflated(body, stretch).displacement


def wall_area(surface):
    a, b, c = np.moveaxis(surface.points[surface.triangles], 1, 0)
    return 0.5 * np.linalg.norm(np.cross(b - a, c - a), axis=1).sum()


@pytest.mark.exact
@pytest.mark.parametrize(("pack", "suffix"), [(ply, "ply"), (stl, "stl")])
def test_other_readers_read_a_revolved_lumen(tmp_path, pack, suffix):
    body = meridian_tube(2, 6)
    surface = deformed_surface(body, moved(body, 1.3), "lumen", around=AROUND)
    file = tmp_path / f"lumen.{suffix}"
    file.write_bytes(pack(surface))
    mesh = pyvista_off_screen().read(file)
    side = 2.0 * 1.3 * INNER * np.sin(np.pi / AROUND)
    assert mesh.area == pytest.approx(AROUND * side * LENGTH, rel=SINGLE)
    assert mesh.bounds.z_max - mesh.bounds.z_min == pytest.approx(LENGTH, rel=SINGLE)
    assert mesh.n_cells == 2 * AROUND * 12
    again = meshio.read(file)
    corners = again.points[again.cells_dict["triangle"]]
    np.testing.assert_allclose(
        corners,
        surface.points[surface.triangles],
        rtol=0 if suffix == "ply" else SINGLE,
        atol=SINGLE * (suffix == "stl"),
    )


@pytest.mark.parametrize("name", ["lumen", "outer"])
@pytest.mark.parametrize("body", [meridian_tube(2, 6), solid_tube(1, 6, 3)], ids=lambda b: b.model)
def test_normals_point_away_from_the_axis(body, name):
    surface = deformed_surface(body, moved(body, 1.3), name)
    a, b, c = np.moveaxis(surface.points[surface.triangles], 1, 0)
    outward = (np.cross(b - a, c - a) * (a + b + c) * [1.0, 1.0, 0.0]).sum(axis=1)
    assert outward.min() > 0


@pytest.mark.exact
def test_the_surface_of_a_ball_is_closed_at_the_poles():
    body = meridian_ball(radius=12.0, along=16)
    surface = deformed_surface(body, 0.25 * body.points, "lumen", around=AROUND)
    edges = np.sort(surface.triangles[:, [[0, 1], [1, 2], [2, 0]]].reshape(-1, 2), axis=1)
    _, count = np.unique(edges, axis=0, return_counts=True)
    assert set(count) == {2}
    # Own derivation: frustums between the 33 rings of the meridian, polygons instead of circles.
    angle = np.linspace(-0.5 * np.pi, 0.5 * np.pi, 33)
    r, z = 15.0 * np.cos(angle), 15.0 * np.sin(angle)
    frustums = np.diff(z) / 3.0 * (r[1:] ** 2 + r[1:] * r[:-1] + r[:-1] ** 2)
    assert enclosed(surface) == pytest.approx(regular_polygon(AROUND, 1.0) * frustums.sum(), rel=1e-10)
    assert enclosed(surface) == pytest.approx(4.0 / 3.0 * np.pi * 15.0**3, rel=5e-3)


@pytest.mark.exact
@pytest.mark.parametrize("turns", [0.25, 1.0 / 3.0, 0.125])
def test_a_sector_is_completed_to_the_whole(turns):
    body = solid_tube(1, 2, 3, turns=turns)
    whole = deformed_surface(body, moved(body, 1.2), "lumen")
    segments = round(4 / turns)
    side = 2.0 * 1.2 * INNER * np.sin(np.pi / segments)
    assert wall_area(whole) == pytest.approx(segments * side * LENGTH, rel=1e-12)
    angles = np.degrees(np.arctan2(whole.points[:, 1], whole.points[:, 0])) % 360.0
    assert np.unique(np.round(angles, 6) % 360.0).size == segments
    a, b, c = np.moveaxis(whole.points[whole.triangles], 1, 0)
    assert (np.cross(b - a, c - a) * (a + b + c) * [1.0, 1.0, 0.0]).sum(axis=1).min() > 0


def test_a_sector_with_an_uneven_displacement_is_mirrored():
    """A displacement that grows with the angle meets its mirror image at the side planes."""
    body = solid_tube(1, 2, 3, turns=0.25)
    angle = np.arctan2(body.points[:, 1], body.points[:, 0])
    shift = body.points * [1.0, 1.0, 0.0] * (0.1 * np.sin(angle) ** 2)[:, None]
    whole = deformed_surface(body, shift, "lumen")
    high = whole.points[np.isclose(whole.points[:, 2], LENGTH)]
    radius, angles = np.hypot(*high.T[:2]), np.arctan2(high[:, 1], high[:, 0])
    np.testing.assert_allclose(radius, INNER * (1.0 + 0.1 * np.sin(angles) ** 2), rtol=1e-12)


def test_sector_that_fills_no_turn_is_not_completed():
    body = solid_tube(1, 2, 3, turns=0.3)
    surface = deformed_surface(body, moved(body, 1.2), "lumen")
    assert len(surface.triangles) == 8 * 2 * 3
