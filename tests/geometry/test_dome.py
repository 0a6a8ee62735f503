# SPDX-License-Identifier: MIT
"""Domes: closed forms of their volumes and surfaces, radii instead of heights, refusals."""

import math

import numpy as np
import pytest
from measuring import BAND, LAYERS, MODELS, area, area_vectors, cell_volumes, enclosed_volume

from annelid.geometry.errors import InputError
from annelid.geometry.io.files import read_body, write_mesh
from annelid.geometry.meshing.build import build
from annelid.geometry.meshing.mesh_size import MeshSize
from annelid.geometry.meshing.quality import quality
from annelid.geometry.shapes.band import Band
from annelid.geometry.shapes.dome import Dome
from annelid.geometry.shapes.shape import Layer

FORMULA = 1e-9  # relative, arc-length tables and Gauss sums against closed forms
MESH = {"axisymmetric": 5e-6, "solid": 1e-4, "sector": 3e-5, "tetrahedra": 3e-4}  # relative, coarse meshes
RATE = 3.7  # second-order cells: the error of a volume falls with the fourth power of the size
PLACE = 1e-9  # mm

DOMES = {
    "shallow": Dome(6.0, 1.0, LAYERS),
    "holed": Dome(6.0, 2.0, LAYERS, 1.0),
    "hemisphere": Dome(6.0, 6.0, LAYERS),
    "upright rim with hole": Dome(6.0, math.sqrt(35.0), LAYERS, 1.0),
    "parabolic": Dome(6.0, 4.0, LAYERS, profile="parabolic"),
    "parabolic with hole": Dome(6.0, 4.0, LAYERS, 1.5, "parabolic"),
    "funnel": Dome(6.0, 3.0, LAYERS, 1.0, "funnel"),
    "rounded funnel": Dome(6.0, 3.0, LAYERS, profile="funnel", tip_radius=1.0),
    "blunt funnel": Dome(6.0, 3.0, LAYERS, profile="funnel", tip_radius=5.0),
    "steep rounded funnel": Dome(6.0, 10.0, LAYERS, profile="funnel", tip_radius=2.0),
}

every_dome = pytest.mark.parametrize("name", DOMES)
every_model = pytest.mark.parametrize("model", MODELS)


def on_surface(body, surface):
    """Return radius and height of the nodes of a surface."""
    points = body.points[body.surface_nodes(surface)]
    return np.linalg.norm(points[:, :-1], axis=1), points[:, -1]


def rounded_cone(rim, rise, tip):
    """Return the slope of the cone that touches a circle about (0, rise - tip), by bisection."""
    low, high = 0.0, math.asin(min(1.0, rim / tip))
    while high - low > 1e-15:
        slope = (low + high) / 2
        touching = tip * math.sin(slope), rise - tip + tip * math.cos(slope)
        too_flat = touching[1] > (rim - touching[0]) * math.tan(slope)
        low, high = (slope, high) if too_flat else (low, slope)
    return low


@pytest.mark.exact
@pytest.mark.parametrize(("start", "end"), [(0.2, 0.0), (0.9, 0.3), (math.pi / 2, 0.0), (math.pi / 2, 0.5)])
def test_spherical_segments(start, end):
    """Source: pi h (3 a^2 + 3 c^2 + h^2) / 6; shells 2 pi / 3 (r_o^3 - r_i^3) (cos end - cos start)."""
    radius = 7.0
    rim, hole = radius * math.sin(start), radius * math.sin(end)
    rise = radius * (math.cos(end) - math.cos(start))
    shape = Dome(rim, rise, LAYERS, hole)
    segment = math.pi * rise * (3 * rim**2 + 3 * hole**2 + rise**2) / 6
    assert shape.lumen_volume() == pytest.approx(segment, rel=FORMULA)
    for layer, inner, outer in (("liner", 7.0, 7.2), ("wall", 7.2, 7.5)):
        shell = 2 * math.pi / 3 * (outer**3 - inner**3) * (math.cos(end) - math.cos(start))
        assert shape.region_volume(layer) == pytest.approx(shell, rel=FORMULA)
    frame = shape.meridian.at(np.linspace(0.0, shape.meridian.length, 9))
    assert shape.meridian.length == pytest.approx(radius * (start - end), rel=FORMULA)
    assert frame.curvature == pytest.approx(1 / radius, rel=FORMULA)


@pytest.mark.exact
@pytest.mark.parametrize("hole", [0.0, 1.5])
def test_paraboloids(hole):
    """Source: pi h (a^2 + c^2) / 2; Steiner's formula A t + M t^2 + K t^3 / 3 for the wall, own derivation.

    With z = -k r^2 and w = 1 + 4 k^2 r^2: area A = pi / (6 k^2) [w^(3/2)], integral of the mean curvature
    M = [pi / (4 k) ln w + pi k r^2], integral of the Gauss curvature K = -2 pi [w^(-1/2)], from hole to rim.
    """
    rim, rise, t = 6.0, 4.0, 0.5
    k = rise / (rim**2 - hole**2)
    w, v = 1 + 4 * k**2 * rim**2, 1 + 4 * k**2 * hole**2
    whole = math.pi / (6 * k**2) * (w**1.5 - v**1.5) * t
    whole += (math.pi / (4 * k) * math.log(w / v) + math.pi * k * (rim**2 - hole**2)) * t**2
    whole += 2 * math.pi * (1 / math.sqrt(v) - 1 / math.sqrt(w)) * t**3 / 3
    shape = Dome(rim, rise, (Layer("wall", t),), hole, "parabolic")
    assert shape.region_volume("wall") == pytest.approx(whole, rel=FORMULA)
    assert shape.lumen_volume() == pytest.approx(math.pi * rise * (rim**2 + hole**2) / 2, rel=FORMULA)


@pytest.mark.exact
def test_funnel():
    """Source: frustum pi h (a^2 + a c + c^2) / 3; the wall by Pappus about its centroid."""
    rim, rise, hole, t = 6.0, 3.0, 1.0, 0.5
    slant = math.hypot(rim - hole, rise)
    shape = Dome(rim, rise, (Layer("wall", t),), hole, "funnel")
    assert shape.lumen_volume() == pytest.approx(
        math.pi * rise * (rim**2 + rim * hole + hole**2) / 3, rel=FORMULA
    )
    centroid = (rim + hole) / 2 + t / 2 * rise / slant
    assert shape.region_volume("wall") == pytest.approx(2 * math.pi * centroid * slant * t, rel=FORMULA)


@pytest.mark.exact
def test_rounding_does_not_make_a_funnel_cross_itself():
    # Its points lie on a line only within rounding; it was once rejected.
    shape = Dome(10.0, 6.0, (Layer("wall", 0.3),), hole_radius=2.0, profile="funnel")
    assert shape.meridian.length == pytest.approx(10.0)


@pytest.mark.exact
@pytest.mark.parametrize(("rise", "tip"), [(3.0, 1.0), (3.0, 7.4), (10.0, 2.0), (10.0, 5.9), (0.5, 1e-3)])
def test_funnel_with_a_round_tip(rise, tip):
    """Source: frustum and spherical cap under it; the slope by bisection instead of the closed form."""
    rim, t = 6.0, 0.5
    slope = rounded_cone(rim, rise, tip)
    edge, cap = tip * math.sin(slope), tip * (1 - math.cos(slope))
    frustum = math.pi * (rise - cap) * (rim**2 + rim * edge + edge**2) / 3
    shape = Dome(rim, rise, (Layer("wall", t),), profile="funnel", tip_radius=tip)
    expected = frustum + math.pi * cap * (3 * edge**2 + cap**2) / 6
    assert shape.lumen_volume() == pytest.approx(expected, rel=FORMULA)
    slant = math.hypot(rim - edge, rise - cap)
    cone = 2 * math.pi * ((rim + edge) / 2 + t / 2 * math.sin(slope)) * slant * t
    shell = 2 * math.pi / 3 * ((tip + t) ** 3 - tip**3) * (1 - math.cos(slope))
    assert shape.region_volume("wall") == pytest.approx(cone + shell, rel=FORMULA)


@every_dome
def test_parameter_is_the_arc_length(name):
    """Source: central differences of the position."""
    meridian = DOMES[name].meridian
    arc, step = np.linspace(0.02, 0.98, 97) * meridian.length, 1e-4 * meridian.length
    before, here, after = (meridian.at(arc + shift) for shift in (-step, 0.0, step))
    slope = (after.position - before.position) / (2 * step)
    straddles = np.any(np.abs(arc[:, None] - meridian.arcs(meridian.corners)) <= step, axis=1)
    assert slope[~straddles] == pytest.approx(here.tangent[~straddles], abs=1e-6)
    turning = np.einsum("ki,ki->k", (after.normal - before.normal) / (2 * step), here.tangent)
    assert turning[~straddles] == pytest.approx(here.curvature[~straddles], abs=1e-5)
    ends = meridian.at(np.array([0.0, meridian.length]))
    shape = DOMES[name]
    assert ends.position == pytest.approx(
        np.array([[shape.rim_radius, 0.0], [shape.hole_radius, shape.rise]]), abs=PLACE
    )
    assert meridian.poles == (False, shape.hole_radius == 0.0)
    assert np.all(here.normal[:, 1] > 0.0)


@pytest.mark.exact
@every_model
@every_dome
def test_meshes_have_the_volumes_of_their_dome(name, model):
    shape = DOMES[name]
    body = build(shape, MODELS[model], [BAND])
    volumes = cell_volumes(body) * body.multiplicity
    assert np.all(volumes > 0.0)
    for region, cells in body.regions.items():
        assert volumes[cells].sum() == pytest.approx(shape.region_volume(region), rel=MESH[model]), region
    assert enclosed_volume(body) == pytest.approx(shape.lumen_volume(), rel=MESH[model])
    assert quality(body).minimum_scaled_jacobian > (0.01 if model == "tetrahedra" else 0.7)


@pytest.mark.rate
@pytest.mark.parametrize(
    ("name", "size", "last"),
    [
        ("shallow", {}, 8e-10),
        ("hemisphere", {}, 4e-7),
        ("parabolic with hole", {}, 6e-8),
        ("blunt funnel", {}, 1e-8),
        ("shallow", {"model": "sector", "sector": 90.0}, 2e-7),
        ("holed", {"model": "solid"}, 2e-7),
        ("parabolic", {"model": "sector", "sector": 60.0, "cells": "tetrahedra"}, 1e-6),
    ],
)
def test_volumes_converge_at_fourth_order(name, size, last):
    shape, errors = DOMES[name], []
    curved = np.diff(shape.meridian.arcs(shape.meridian.knots))[-1]
    for halving in range(3):
        around = 16 * 2**halving
        along = curved / (4 * 2**halving)
        body = build(shape, MeshSize(along=along, through=1, around=around, **size))
        exact = sum(shape.region_volume(region) for region in body.regions)
        errors.append(abs(cell_volumes(body).sum() * body.multiplicity / exact - 1))
    assert math.log2(errors[1] / errors[2]) > RATE, errors
    assert errors[-1] < last, errors


@pytest.mark.exact
@every_model
@pytest.mark.parametrize("name", ["shallow", "holed", "hemisphere"])
def test_every_node_of_a_spherical_dome_is_on_its_sphere(name, model):
    """Source: circle through rim and upper end, its centre on the axis: depth (a^2 - c^2 - h^2) / (2 h)."""
    shape = DOMES[name]
    below = (shape.rim_radius**2 - shape.hole_radius**2 - shape.rise**2) / (2 * shape.rise)
    radius = math.hypot(shape.rim_radius, below)
    body = build(shape, MODELS[model])
    for surface, offset in (("lumen", 0.0), ("liner|wall", 0.2), ("outer", 0.5)):
        assert np.hypot(*(on_surface(body, surface) + np.array([[0.0], [below]]))) == pytest.approx(
            radius + offset, abs=PLACE
        )
    outward = body.points.copy()
    outward[:, -1] += below
    outward /= np.linalg.norm(outward, axis=1, keepdims=True)
    assert body.normal == pytest.approx(outward, abs=PLACE)


@pytest.mark.exact
@every_model
def test_every_node_of_a_funnel_and_a_paraboloid_is_on_it(model):
    """Source: distance from the straight line; Z = h (a^2 - R^2) / a^2."""
    body = build(DOMES["funnel"], MODELS[model])
    slant = math.hypot(5.0, 3.0)
    for surface, offset in (("lumen", 0.0), ("liner|wall", 0.2), ("outer", 0.5)):
        radius, height = on_surface(body, surface)
        assert ((radius - 6.0) * 3.0 + height * 5.0) / slant == pytest.approx(offset, abs=PLACE)
    radius, height = on_surface(build(DOMES["parabolic"], MODELS[model]), "lumen")
    assert height == pytest.approx(4.0 * (36.0 - radius**2) / 36.0, abs=PLACE)


@pytest.mark.exact
def test_a_nearly_flat_dome_is_accurate():
    """Source: Z = h (1 - R^2 / a^2) + O(h^3 / a^2), here 1e-14 mm; the centre is 500 m away."""
    radius, height = on_surface(build(Dome(10.0, 1e-4, LAYERS), MeshSize(along=0.5)), "lumen")
    assert height == pytest.approx(1e-4 * (1 - (radius / 10.0) ** 2), abs=1e-13)


@pytest.mark.exact
@every_model
@pytest.mark.parametrize("name", ["holed", "funnel", "upright rim with hole"])
def test_end_rings_are_perpendicular_to_the_wall(name, model):
    """Source: pi (R_i + R_o) t for the ring between an inner and an outer circle, a strip of a cone."""
    shape = DOMES[name]
    body = build(shape, MODELS[model])
    ends = shape.meridian.at(np.array([0.0, shape.meridian.length]))
    for row, (surface, sign) in enumerate((("end_low", -1.0), ("end_high", 1.0))):
        facets = body.facets[body.surfaces[surface]]
        _, vector = area_vectors(body, facets)
        vector = vector.sum(axis=1)
        vector /= np.linalg.norm(vector, axis=1, keepdims=True)
        assert np.einsum("fi,fni->fn", vector, body.normal[facets]) == pytest.approx(0.0, abs=0.08)
        assert sign * vector[:, -1] == pytest.approx(ends.tangent[row, 1], abs=0.01)
        radius = ends.position[row, 0]
        ring = math.pi * (2 * radius + 0.5 * ends.normal[row, 0]) * 0.5
        assert area(body, surface) == pytest.approx(ring, rel=2 * MESH[model])


@every_model
@every_dome
def test_bands_and_lines_lie_at_radii(name, model):
    shape = DOMES[name]
    body = build(shape, MODELS[model], [Band("ring", "wall", 3.4, 4.6)], lines=[4.9])
    inner = body.points[body.surface_nodes("ring.inner")]
    lower, upper = (shape.at_radius(radius, depth=0.0) for radius in (4.6, 3.4))
    # The band covers the wall, which begins 0.2 mm outside the inner face.
    assert inner[:, -1].min() == pytest.approx((lower.position + 0.2 * lower.normal)[0, 1], abs=PLACE)
    assert inner[:, -1].max() == pytest.approx((upper.position + 0.2 * upper.normal)[0, 1], abs=PLACE)
    radius, height = on_surface(body, "lumen")
    corner = np.abs(radius - 4.9) < PLACE
    assert corner.any()
    assert height[corner] == pytest.approx(shape.at_radius(4.9, depth=0.0).position[0, 1], abs=PLACE)


@pytest.mark.exact
@every_model
def test_a_band_from_radius_0_covers_the_pole(model):
    """Source: area of a spherical cap, 2 pi r h, on the face 0.2 mm outside a sphere of 18.5 mm."""
    body = build(DOMES["shallow"], MODELS[model], [Band("spot", "wall", 0.0, 3.0), BAND])
    sphere = 18.5
    cap = 2 * math.pi * (sphere + 0.2) ** 2 * (1 - math.sqrt(1 - (3.0 / sphere) ** 2))
    assert area(body, "spot.inner") == pytest.approx(cap, rel=MESH[model])
    assert not set(body.bands["spot"]) & set(body.bands["ring"])


def test_bands_may_touch_and_reach_both_ends():
    bands = [Band("far", "wall", 3.0, 6.0), Band("near", "wall", 1.0, 3.0)]
    body = build(DOMES["funnel"], MeshSize(along=1.0), bands)
    assert np.array_equal(np.sort(np.concatenate(list(body.bands.values()))), np.sort(body.regions["wall"]))
    assert body.points[body.cells[body.bands["near"]], 0].max() < 3.3


@pytest.mark.exact
@pytest.mark.parametrize("depth", [0.0, 0.5, 1.0])
def test_points_of_the_middle_surface(depth):
    """Source: sphere of 18.5 mm (rim 6 mm, rise 1 mm) and the surfaces parallel to it; a parallel line."""
    sphere = 18.5 + 0.5 * depth
    for radius in (0.0, 1e-6, 2.0, 6.0):
        frame = DOMES["shallow"].at_radius(radius, depth=depth)
        height = math.sqrt(sphere**2 - radius**2)
        assert frame.position == pytest.approx(np.array([[radius, height - 17.5]]), abs=PLACE)
        assert frame.normal == pytest.approx(np.array([[radius, height]]) / sphere, abs=PLACE)
        assert frame.tangent == pytest.approx(np.array([[-height, radius]]) / sphere, abs=PLACE)
        assert frame.curvature == pytest.approx(1 / sphere, rel=FORMULA)
    funnel = DOMES["funnel"].at_radius(3.0, depth=depth).position
    assert funnel == pytest.approx(np.array([[3.0, 1.8 + 0.5 * depth * math.hypot(5, 3) / 5]]), abs=PLACE)


@every_dome
def test_points_at_a_radius_have_this_radius(name):
    shape = DOMES[name]
    for radius in (3.5, 4.2, 4.99):
        for depth in (0.0, 0.3, 1.0):
            assert shape.at_radius(radius, depth=depth).position[0, 0] == pytest.approx(radius, abs=PLACE)


@pytest.mark.exact
def test_ripple_length():
    """Source: sqrt(R t); a sphere of 18.5 mm, the apex of a paraboloid (a^2 / 2 h), the hole of a cone."""
    assert DOMES["shallow"].ripple_length == pytest.approx(math.sqrt(18.5 * 0.5), rel=FORMULA)
    assert DOMES["parabolic"].ripple_length == pytest.approx(math.sqrt(36.0 / 8.0 * 0.5), rel=1e-4)
    assert DOMES["funnel"].ripple_length == pytest.approx(math.sqrt(math.hypot(5, 3) / 3 * 0.5), rel=FORMULA)


@pytest.mark.parametrize("model", ["axisymmetric", "solid"])
def test_a_thin_cap_meshed_for_buckling(model):
    shape = Dome(10.0, 0.6, (Layer("wall", 0.1),))
    along = shape.ripple_length / 3
    body = build(shape, MeshSize(along=along, model=model, through=2, around=32))
    if model == "axisymmetric":
        assert len(body.cells) == 2 * math.ceil(shape.meridian.length / along)
        lumen = body.points[body.facets[body.surfaces["lumen"]][:, :2]]
        assert np.linalg.norm(lumen[:, 1] - lumen[:, 0], axis=1).max() <= along
    assert quality(body).minimum_scaled_jacobian > 0.7


@pytest.mark.parametrize("suffix", [".msh", ".vtu"])
def test_domes_are_read_back_from_files(tmp_path, suffix):
    body = build(DOMES["holed"], MODELS["sector"], [BAND])
    write_mesh(body, tmp_path / f"dome{suffix}")
    back = read_body(tmp_path / f"dome{suffix}")
    assert set(back.surfaces) == set(body.surfaces)
    assert set(back.bands) == {"ring"}
    assert cell_volumes(back).sum() == pytest.approx(cell_volumes(body).sum(), rel=1e-12)
    assert enclosed_volume(back) == pytest.approx(enclosed_volume(body), rel=1e-12)


def funnel(hole=0.0, **more):
    return Dome(6.0, 3.0, LAYERS, hole, "funnel", **more)


@pytest.mark.parametrize(
    ("make", "message"),
    [
        (lambda: Dome(0.0, 1.0, LAYERS), "dome: rim_radius: must be above 0 mm, got 0 mm"),
        (lambda: Dome(6.0, 0.0, LAYERS), "dome: rise: must be above 0 mm, got 0 mm"),
        (lambda: Dome(6.0, math.nan, LAYERS), "dome: rise: must be above 0 mm, got nan mm"),
        (
            lambda: Dome(6.0, 6.1, LAYERS),
            r"dome: rise: must be at most 6 mm \(where a spherical dome stands upright at its rim\), got",
        ),
        (
            lambda: Dome(5.0, 4.1, LAYERS, 3.0),
            r"dome: rise: must be at most 4 mm \(where a spherical dome stands upright at its rim\), got",
        ),
        (
            lambda: Dome(6.0, 1.0, LAYERS, 6.0),
            r"dome: hole_radius: must be at least 0 and below 6 mm \(rim_radius\), got 6 mm",
        ),
        (
            lambda: Dome(6.0, 1.0, LAYERS, -1.0),
            r"dome: hole_radius: must be at least 0 and below 6 mm \(rim_radius\), got -1 mm",
        ),
        (
            lambda: Dome(6.0, 1.0, LAYERS, profile="conical"),
            "dome: profile: 'conical' is not allowed; allowed: spherical, funnel, parabolic",
        ),
        (
            lambda: funnel(),
            "dome: hole_radius: a funnel that ends in a point cannot be meshed: give it a hole, or",
        ),
        (
            lambda: funnel(1.0, tip_radius=1.0),
            "dome: tip_radius: only a funnel without a hole has a tip to round: leave it out",
        ),
        (
            lambda: Dome(6.0, 1.0, LAYERS, tip_radius=1.0),
            "dome: tip_radius: only a funnel without a hole has a tip to round: leave it out",
        ),
        (lambda: funnel(tip_radius=-1.0), "dome: tip_radius: must be at least 0 mm, got -1 mm"),
        (
            lambda: funnel(tip_radius=7.5),
            r"dome: tip_radius: must be below 7\.5 mm \(where no straight part of the funnel is left\),",
        ),
        (
            lambda: Dome(6.0, 8.0, LAYERS, profile="funnel", tip_radius=6.0),
            r"dome: tip_radius: must be below 6 mm \(where no straight part of the funnel is left\), got",
        ),
        (lambda: Dome(6.0, 1.0, ()), "dome: layers: must hold at least one layer, from inside to outside"),
        (
            lambda: Dome(6.0, 1.0, (LAYERS[0], LAYERS[0])),
            "dome: layers: 'liner' appears 2 times; names must be unique",
        ),
        (
            lambda: funnel(1.0).at_radius(0.5),
            r"radius: must be at least 1\.12862 and at most 6\.12862 mm \(where the wall is\), got 0\.5 mm",
        ),
        (lambda: funnel(1.0).at_radius(3.0, depth=1.5), r"depth: must be at least 0 and at most 1, got 1\.5"),
    ],
)
def test_impossible_domes_are_rejected(make, message):
    with pytest.raises(InputError, match=message):
        make()


@pytest.mark.parametrize(
    ("bands", "lines", "message"),
    [
        (
            [Band("r", "wall", 0.5, 3.0)],
            [],
            r"electrode 'r': from: must be at least 1 and at most 6 mm \(where the layers are\), got 0\.5",
        ),
        (
            [Band("r", "wall", 2.0, 6.5)],
            [],
            r"electrode 'r': to: must be at least 1 and at most 6 mm \(where the layers are\), got 6\.5 mm",
        ),
        ([], [0.5], r"lines: must be at least 1 and at most 6 mm \(where the part is\), got 0\.5 mm"),
        (
            [Band("b", "wall", 3.0, 5.0), Band("a", "wall", 1.0, 3.5)],
            [],
            r"electrode 'b': from: 3 mm overlaps electrode 'a', which covers 1 to 3\.5 mm of the same",
        ),
    ],
)
def test_bands_and_lines_outside_of_the_dome_are_rejected(bands, lines, message):
    with pytest.raises(InputError, match=message):
        build(DOMES["funnel"], MeshSize(along=1.0), bands, lines=lines)
