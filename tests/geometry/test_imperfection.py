# SPDX-License-Identifier: MIT
"""Parts drawn with waves around the axis, against the formula of the displacement."""

import numpy as np
import pytest

from annelid.geometry.errors import InputError
from annelid.geometry.meshing.build import build
from annelid.geometry.meshing.imperfection import Imperfection, deformed
from annelid.geometry.meshing.mesh_size import MeshSize
from annelid.geometry.shapes.shape import Layer
from annelid.geometry.shapes.tube import Tube

TUBE = Tube(inner_radius=4.0, length=6.0, layers=(Layer("wall", 2.0),))
PLACES = np.array([[r, z] for r in (4.0, 6.0) for z in (0.0, 6.0)])
SIZE = 0.2


def imperfection(waves, size=SIZE):
    """a = r/2, b = -z/2, c = 1: linear over the meridian, largest at its outer corner."""
    r, z = PLACES.T
    return Imperfection(PLACES, np.column_stack([r / 2, -z / 2, np.ones(4)]), waves, size)


@pytest.mark.parametrize("model", ["solid", "sector"])
@pytest.mark.parametrize("waves", [1, 3])
def test_points_move_by_the_wave(model, waves):
    body = build(TUBE, MeshSize(along=3.0, model=model, sector=180.0 / waves, around=24))
    moved = deformed(body, imperfection(waves))
    (x, y, z), (X, Y, Z) = moved.points.T, body.points.T
    θ, R = np.arctan2(Y, X), np.hypot(X, Y)
    scale = SIZE / np.hypot(3.0, 1.0)
    outwards = (x - X) * np.cos(θ) + (y - Y) * np.sin(θ)
    around = (y - Y) * np.cos(θ) - (x - X) * np.sin(θ)
    assert outwards == pytest.approx(scale * R / 2 * np.cos(waves * θ), abs=1e-12)
    assert around == pytest.approx(-scale * Z / 2 * np.sin(waves * θ), abs=1e-12)
    assert z - Z == pytest.approx(scale * np.cos(waves * θ), abs=1e-12)
    assert np.linalg.norm(moved.points - body.points, axis=1).max() == pytest.approx(SIZE, rel=1e-9)


def test_planes_of_a_sector_stay_planes():
    body = build(TUBE, MeshSize(along=3.0, model="sector", sector=60.0, around=24))
    moved = deformed(body, imperfection(3))
    for side, angle in (("side_low", 0.0), ("side_high", np.pi / 3)):
        x, y, _ = moved.points[moved.surface_nodes(side)].T
        assert np.sin(angle) * x == pytest.approx(np.cos(angle) * y, abs=1e-12)


def test_beyond_the_places_the_nearest_one_counts():
    inside = Imperfection(PLACES - [0.0, 1.0], np.ones((4, 3)), 2, SIZE)
    moved = inside.displacement(np.array([[7.0, 0.0, 9.0]]))
    assert moved[0, [0, 2]] == pytest.approx(SIZE / np.sqrt(2), rel=1e-12)


def test_a_part_that_would_be_turned_inside_out_is_refused():
    body = build(TUBE, MeshSize(along=3.0, model="solid", around=24))
    with pytest.raises(InputError, match=r"is inverted|too distorted"):
        deformed(body, imperfection(12, size=30.0))
