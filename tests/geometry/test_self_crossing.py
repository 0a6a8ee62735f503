# SPDX-License-Identifier: MIT
"""Crossings of deformed bodies with themselves, by displacements that are given."""

import numpy as np
import pytest

from annelid.geometry.meshing.build import build
from annelid.geometry.meshing.mesh_size import MeshSize
from annelid.geometry.self_crossing import SelfCrossing
from annelid.geometry.shapes.balloon import Balloon
from annelid.geometry.shapes.meridian_profiles import sphere
from annelid.geometry.shapes.shape import Layer
from annelid.geometry.shapes.tube import Tube

MODELS = ("axisymmetric", "sector", "solid")
INNER, WALL, LENGTH = 4.0, 0.3, 10.0


def tube(model):
    shape = Tube(inner_radius=INNER, length=LENGTH, layers=(Layer("wall", WALL),))
    return build(shape, MeshSize(along=0.5, model=model, around=24))


def moved(body, radius, height):
    """Displacement of a body of revolution to a radius and a height that depend on the present ones."""
    across, z = body.points[:, :-1], body.points[:, -1]
    r = np.linalg.norm(across, axis=1)
    return np.column_stack([across * (radius(r, z) / r)[:, None], height(r, z)]) - body.points


def meridian(point):
    return np.hypot(*point[:-1]) if len(point) == 3 else point[0], point[-1]


@pytest.mark.parametrize("model", MODELS)
def test_a_narrow_neck_crosses_only_where_its_lumen_is_used_up(model):
    body = tube(model)
    crossing = SelfCrossing(body)

    def neck(depth):
        return moved(body, lambda r, z: r - depth * np.exp(-((z - 5.0) ** 2)), lambda r, z: z)

    assert crossing.touch(0.0 * body.points) is None
    assert crossing.touch(neck(0.98 * INNER)) is None
    touch = crossing.touch(neck(1.02 * INNER))
    assert touch.in_lumen
    radius, height = meridian(touch.place)
    assert abs(radius) < 0.1
    assert height == pytest.approx(5.0, abs=1.0)


@pytest.mark.parametrize("model", MODELS)
def test_a_fold_crosses_where_it_lies_on_the_wall(model):
    """The wall bulges by 3 mm, and the bulge is pulled down until its flank passes through the wall below."""
    body = tube(model)
    crossing = SelfCrossing(body)

    def fold(lean):
        def bulge(z):
            return np.exp(-((z - 5.0) ** 2))

        out = 3 - 0.4 * lean
        return moved(body, lambda r, z: r + out * bulge(z), lambda r, z: z - lean * bulge(z))

    assert crossing.touch(fold(0.5)) is None
    touch = crossing.touch(fold(8.0))
    assert not touch.in_lumen
    assert INNER - 0.5 < meridian(touch.place)[0] < INNER + WALL + 3


@pytest.mark.parametrize("model", ["axisymmetric", "solid"])
def test_a_closed_body_turned_inside_out_has_crossed_itself(model):
    body = build(Balloon(sphere(5.0), (Layer("wall", 0.5),)), MeshSize(along=1.5, model=model, around=12))
    crossing = SelfCrossing(body)
    assert crossing.touch(-0.3 * body.points) is None
    inverted = np.zeros_like(body.points)
    inverted[:, -1] = -2 * body.points[:, -1]
    assert crossing.touch(inverted) is not None


def test_an_open_tube_turned_inside_out_has_not():
    body = tube("axisymmetric")
    everted = moved(body, lambda r, z: 2 * INNER - r + 1.0, lambda r, z: -z)
    assert SelfCrossing(body).touch(everted) is None
