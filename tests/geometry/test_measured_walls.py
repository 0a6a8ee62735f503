# SPDX-License-Identifier: MIT
"""Inflated walls with a measured outer face: positions and gradients of their material."""

import numpy as np
import pytest

from annelid.geometry.lattice.measured_surface import RadialSurface
from annelid.geometry.lattice_mesh.inflated_wall import InflatedWall
from annelid.geometry.lattice_mesh.measured_wall import MeasuredWall
from annelid.geometry.lattice_mesh.wall_grid import WallGrid

A, B, LENGTH = 5.0, 5.6, 12.0
GRID = 33, 33
ANGLES = 2 * np.pi * np.arange(72) / 72
HEIGHTS = np.linspace(1.0, 15.4, 49)


def inflated_tube(stretch=1.2, axial=1.1):
    """An inflated tube: r² = r_a² + (R² - A²) / axial, z = axial Z keep every volume."""
    through, along = np.linspace(0.0, B - A, GRID[0]), np.linspace(0.0, LENGTH, GRID[1])
    R, Z = np.meshgrid(A + through, along, indexing="ij")
    r = np.sqrt((stretch * A) ** 2 + (R**2 - A**2) / axial)
    nodes = np.arange(R.size).reshape(R.shape)
    drawn, inflated = np.stack([R, Z], axis=-1), np.stack([r, axial * Z], axis=-1)
    return InflatedWall(WallGrid(through, along, nodes), drawn, inflated, B - A)


def measured_face(radius):
    return RadialSurface(HEIGHTS, radius(ANGLES[:, None], HEIGHTS[None]) + np.zeros((72, 49)))


def places(wall, count=60):
    u, v, t = np.random.default_rng(4).random((3, count))
    chart = wall.chart
    points = np.column_stack([6.5 * u, chart.low + v * (chart.high - chart.low)])
    return points, (B - A) * (t - 1)


@pytest.mark.exact
def test_a_wall_with_a_round_measured_face_is_a_thick_tube():
    # Incompressible tube, outer radius b and length l measured: r² = b² - (B² - R²) L / l (Green and Adkins,
    # Large Elastic Deformations, from memory); the computed inflation is a different one.
    b, axial = 6.4, 14.4 / LENGTH
    wall = MeasuredWall(inflated_tube(), measured_face(lambda a, z: b))
    points, at = places(wall)
    R = B + at
    r = np.sqrt(b**2 - (B**2 - R**2) / axial)
    position = wall.place(points, at).position
    np.testing.assert_allclose(np.hypot(*position[:, :2].T), r, rtol=1e-6)
    gradient = wall.stress_free_gradient(points, at)
    expected = np.zeros((len(r), 3, 3))
    expected[:, 0, 0], expected[:, 1, 1], expected[:, 2, 2] = axial * r / R, R / r, 1 / axial
    np.testing.assert_allclose(gradient, expected, atol=6e-6)
    assert wall.deviation.maximum == pytest.approx(wall.deviation.root_mean_square, rel=1e-6)
    outer = inflated_tube().inflated_position(np.array([B - A]), np.array([3.0]))[0, 0]
    assert wall.deviation.maximum == pytest.approx(abs(b - outer), rel=1e-6)
    assert wall.deviation.length_difference == pytest.approx(14.4 - 1.1 * LENGTH)


@pytest.mark.exact
def test_a_wall_with_an_oval_measured_face_keeps_its_volume():
    # The determinant of an incompressible material is 1.
    wall = MeasuredWall(inflated_tube(), measured_face(lambda a, z: 6.4 + 0.4 * np.cos(2 * a + z / 4)))
    points, at = places(wall)
    gradient = wall.stress_free_gradient(points, at)
    np.testing.assert_allclose(np.linalg.det(gradient), 1.0, atol=3e-5)
    assert np.abs(gradient[:, 1, 2]).max() > 0.01  # it is also twisted


@pytest.mark.exact
def test_electrodes_have_their_stress_free_heights():
    wall = MeasuredWall(inflated_tube(), measured_face(lambda a, z: 6.4 + 0.0 * z))
    v = wall.v_at_height(3.0)
    assert wall.place(np.array([[0.0, v]]), np.zeros(1)).position[0, 2] == pytest.approx(
        1.0 + 14.4 / 4, abs=1e-3
    )


@pytest.mark.exact
def test_the_enclosed_volume_of_a_measured_face():
    # Area of r = 6 + e cos 2 angle: pi (36 + e² / 2).
    face = measured_face(lambda a, z: 6.0 + 0.3 * np.cos(2 * a))
    assert face.enclosed_volume == pytest.approx(14.4 * np.pi * (36.0 + 0.3**2 / 2), rel=1e-7)
    assert face.arc_fraction(np.array([[0.3, 1.0], [1.0, 8.2], [2.0, 15.4]])) == pytest.approx(
        [0.0, 0.5, 1.0], abs=1e-9
    )


def test_a_wall_measured_as_computed_is_the_computed_wall():
    # Clamped at its low end, where the normals of the face do not follow the material.
    computed = inflated_tube()
    through, along = computed.grid.through[:, None], computed.grid.along[None]
    held = 1 - np.exp(-along)
    R, Z = computed.stress_free[..., 0], computed.stress_free[..., 1]
    r = R + held * (computed.inflated[..., 0] - R)
    tilted = InflatedWall(
        computed.grid, computed.stress_free, np.stack([r, Z + 0.1 * held * through], -1), B - A
    )
    y = np.linspace(0.0, LENGTH, 801)
    face = tilted.outer_face(y).position
    heights = np.linspace(*face[[0, -1], 1], 401)
    radii = np.tile(np.interp(heights, face[:, 1], face[:, 0]), (12, 1))
    wall = MeasuredWall(tilted, RadialSurface(heights, radii))
    points, at = places(wall)
    where = wall.chart.coordinates(points)
    flat = tilted.inflated_position(B - A + at, wall.along(where))
    x, y, z = wall.place(points, at).position.T
    np.testing.assert_allclose(np.column_stack([np.hypot(x, y), z]), flat, atol=3e-4)  # of 0.6 mm
