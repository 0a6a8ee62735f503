# SPDX-License-Identifier: MIT
"""Volumes by formula: first against closed forms, then every mesh against them, then the rate."""

import math

import numpy as np
import pytest
from measuring import BAND, LAYERS, MODELS, SHAPES, area, cell_volumes, enclosed_volume

from annelid.geometry.meshing.build import build
from annelid.geometry.meshing.mesh_size import MeshSize
from annelid.geometry.shapes.balloon import Balloon
from annelid.geometry.shapes.meridian_profiles import ellipsoid, necked, sphere
from annelid.geometry.shapes.shape import Layer
from annelid.geometry.shapes.sleeve import Sleeve
from annelid.geometry.shapes.spline_meridian import from_points
from annelid.geometry.shapes.tapered_tube import TaperedTube
from annelid.geometry.shapes.tube import Tube

FORMULA = 1e-9  # relative, arc-length tables and Gauss sums against closed forms
MESH = {"axisymmetric": 2e-5, "solid": 2e-4, "sector": 2e-4, "tetrahedra": 5e-4}  # relative, coarse meshes
SHARP_BENDS = 10  # times as much where one cell spans half a shoulder
STRAIGHT = 1e-12  # relative, where second-order cells have the exact shape
RATE = 3.7  # second-order cells: the error of a volume falls with the fourth power of the size


@pytest.mark.exact
def test_shells_of_the_sphere():
    """Source: 4/3 pi (b^3 - a^3), from memory."""
    shape = Balloon(sphere(5.0), (Layer("inner", 0.5), Layer("outer", 1.5)))
    assert shape.lumen_volume() == pytest.approx(4 / 3 * math.pi * 5.0**3, rel=FORMULA)
    assert shape.region_volume("inner") == pytest.approx(4 / 3 * math.pi * (5.5**3 - 5.0**3), rel=FORMULA)
    assert shape.region_volume("outer") == pytest.approx(4 / 3 * math.pi * (7.0**3 - 5.5**3), rel=FORMULA)


@pytest.mark.exact
def test_shell_around_a_prolate_spheroid():
    """Source: Steiner's formula A t + M t^2 + 4/3 pi t^3, A and M of the spheroid; from memory.

    A = 2 pi a^2 (1 + c / (a e) asin e); M, the integral of the mean curvature,
    = 2 pi c + pi a^2 / sqrt(c^2 - a^2) ln((1 + e) / (1 - e)).
    """
    a, c, t = 4.0, 7.0, 0.6
    e = math.sqrt(1 - (a / c) ** 2)
    surface = 2 * math.pi * a**2 * (1 + c / (a * e) * math.asin(e))
    mean_curvature = 2 * math.pi * c + math.pi * a**2 / math.sqrt(c**2 - a**2) * math.log((1 + e) / (1 - e))
    shell = surface * t + mean_curvature * t**2 + 4 / 3 * math.pi * t**3
    shape = Balloon(ellipsoid(a, c), (Layer("wall", t),))
    assert shape.lumen_volume() == pytest.approx(4 / 3 * math.pi * a**2 * c, rel=FORMULA)
    assert shape.region_volume("wall") == pytest.approx(shell, rel=FORMULA)


@pytest.mark.exact
def test_volume_of_the_necked_balloon():
    """Source: own derivation; over a shoulder the quintic has mean 1/2 and mean square 181/462."""
    body, neck, length, straight, shoulder = 6.0, 3.0, 30.0, 4.0, 5.0
    step = body - neck
    expected = math.pi * (
        2 * neck**2 * straight
        + 2 * shoulder * (neck**2 + neck * step + step**2 * 181 / 462)
        + body**2 * (length - 2 * straight - 2 * shoulder)
    )
    shape = Balloon(necked(body, length, neck, straight, shoulder=shoulder), LAYERS)
    assert shape.lumen_volume() == pytest.approx(expected, rel=FORMULA)


@pytest.mark.exact
def test_straight_shapes():
    """Source: cylinders and annuli."""
    tube = Tube(4.0, 12.0, LAYERS, ends="capped", cap_thickness=1.0)
    assert tube.lumen_volume() == pytest.approx(math.pi * 4.0**2 * 12.0, rel=STRAIGHT)
    assert tube.region_volume("wall") == pytest.approx(math.pi * (4.5**2 - 4.2**2) * 12.0, rel=STRAIGHT)
    assert tube.region_volume("cap") == pytest.approx(2 * math.pi * 4.5**2, rel=STRAIGHT)
    sleeve = Sleeve(4.0, 10.0, LAYERS, core_inner_radius=2.0, core_overhang=1.0)
    assert sleeve.lumen_volume() == pytest.approx(math.pi * 2.0**2 * 12.0, rel=STRAIGHT)
    assert sleeve.region_volume("core") == pytest.approx(math.pi * (4.0**2 - 2.0**2) * 12.0, rel=STRAIGHT)
    assert sleeve.region_volume("liner") == pytest.approx(math.pi * (4.2**2 - 4.0**2) * 10.0, rel=STRAIGHT)


@pytest.mark.exact
def test_tapered_tubes():
    """Source: frustum of a cone, π h (a² + ab + b²)/3; a layer is the difference of two, t/cos apart."""
    a, b, h, t = 4.0, 6.0, 12.0, 0.5
    shape = TaperedTube(a, b, h, (Layer("wall", t),))
    across = t * math.hypot(b - a, h) / h

    def frustum(a, b):
        return math.pi * h * (a**2 + a * b + b**2) / 3

    assert shape.lumen_volume() == pytest.approx(frustum(a, b), rel=FORMULA)
    wall = frustum(a + across, b + across) - frustum(a, b)
    assert shape.region_volume("wall") == pytest.approx(wall, rel=FORMULA)
    body = build(shape, MODELS["axisymmetric"])
    ends = [body.points[body.surface_nodes(end), 1] for end in ("end_low", "end_high")]
    assert np.ptp(ends[0]) == np.ptp(ends[1]) == 0.0
    # ∫ (a + (b - a) s(x))² dx of the quintic s: ∫ s = 1/2, ∫ s² = 181/462 (own integration).
    smooth = TaperedTube(a, b, h, (Layer("wall", t),), "smooth")
    expected = math.pi * h * (a**2 + a * (b - a) + (b - a) ** 2 * 181 / 462)
    assert smooth.lumen_volume() == pytest.approx(expected, rel=FORMULA)


@pytest.mark.exact
@pytest.mark.parametrize("model", MODELS)
@pytest.mark.parametrize("name", SHAPES)
def test_meshes_have_the_volumes_of_their_shape(name, model):
    shape = SHAPES[name]
    body = build(shape, MODELS[model])
    straight = model == "axisymmetric" and isinstance(shape, Tube | Sleeve)
    tolerance = STRAIGHT if straight else MESH[model] * (SHARP_BENDS if name == "necked balloon" else 1)
    volumes = cell_volumes(body) * body.multiplicity
    for region, cells in body.regions.items():
        assert volumes[cells].sum() == pytest.approx(shape.region_volume(region), rel=tolerance), region
    assert np.all(volumes > 0.0)
    if "lumen" in body.surfaces:
        assert enclosed_volume(body) == pytest.approx(shape.lumen_volume(), rel=tolerance)
    else:
        assert shape.lumen_volume() == 0.0


@pytest.mark.rate
@pytest.mark.parametrize(
    ("shape", "size", "last"),
    [
        (SHAPES["sphere"], {}, 2e-7),
        (SHAPES["necked balloon"], {}, 1e-5),
        (SHAPES["vase"], {}, 1e-6),
        (SHAPES["sphere"], {"model": "sector", "sector": 90.0}, 1e-6),
        (SHAPES["solid sleeve"], {"model": "sector", "sector": 90.0}, 1e-6),
        (SHAPES["dome"], {"model": "sector", "sector": 60.0, "cells": "tetrahedra"}, 2e-6),
    ],
    ids=["sphere", "necked", "spline", "sphere 3-D", "core 3-D", "dome tetrahedra"],
)
def test_volumes_converge_at_fourth_order(shape, size, last):
    errors = []
    for halving in range(3):
        around = 16 * 2**halving
        body = build(shape, MeshSize(along=2.0 / 2**halving, through=1, around=around, **size))
        exact = sum(shape.region_volume(region) for region in body.regions)
        errors.append(abs(cell_volumes(body).sum() * body.multiplicity / exact - 1))
    assert math.log2(errors[1] / errors[2]) > RATE, errors
    assert errors[-1] < last, errors


@pytest.mark.exact
@pytest.mark.parametrize("model", MODELS)
def test_area_of_surfaces_and_bands(model):
    """Source: lateral surface and ring areas of cylinders."""
    body = build(SHAPES["tube"], MODELS[model], [BAND])
    tolerance = STRAIGHT if model == "axisymmetric" else MESH[model]
    expected = {
        "lumen": 2 * math.pi * 4.0 * 12.0,
        "liner|wall": 2 * math.pi * 4.2 * 12.0,
        "outer": 2 * math.pi * 4.5 * 12.0,
        "end_low": math.pi * (4.5**2 - 4.0**2),
        "end_high": math.pi * (4.5**2 - 4.0**2),
        "ring.inner": 2 * math.pi * 4.2 * 2.2,
        "ring.outer": 2 * math.pi * 4.5 * 2.2,
    }
    for surface, value in expected.items():
        assert area(body, surface) == pytest.approx(value, rel=tolerance), surface


@pytest.mark.exact
def test_spline_through_points_approximates_the_sphere():
    """Source: 4/3 pi a^3; a cubic spline through 33 points of a half circle."""
    angle = np.linspace(-math.pi / 2, math.pi / 2, 33)
    points = np.column_stack([5.0 * np.cos(angle), 5.0 * np.sin(angle)])
    shape = Balloon(from_points(points), (Layer("wall", 0.5),))
    assert shape.lumen_volume() == pytest.approx(4 / 3 * math.pi * 5.0**3, rel=1e-5)
    assert shape.region_volume("wall") == pytest.approx(4 / 3 * math.pi * (5.5**3 - 5.0**3), rel=1e-4)
