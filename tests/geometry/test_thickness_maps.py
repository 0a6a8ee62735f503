# SPDX-License-Identifier: MIT
"""Layers of uneven thickness: the map, its file, and meshes whose layers and faces conform to it.

Volumes by the formula of Pappus (exact in the depth) and by quadrature over the mesh are two ways to one
number.
"""

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from measuring import MODELS, SHAPES, cell_volumes

from annelid.geometry.errors import InputError, InvalidValue
from annelid.geometry.meshing.build import build
from annelid.geometry.meshing.uneven_wall import local_depth
from annelid.geometry.shapes.band import Band
from annelid.geometry.shapes.shape import Layer
from annelid.geometry.shapes.thickness_map import ThicknessMap, read_thickness_map
from annelid.geometry.shapes.tube import Tube

VOLUME = 6e-4  # relative, between formula and mesh of a thickness that bends within elements
ANGLES = 2 * np.pi * np.arange(24) / 24


def uneven(shape, *, around=0.0):
    """The shape with a liner that is a third thicker at one end, and at one side."""
    places = shape.places(shape.meridian.at(np.linspace(0.0, shape.meridian.length, 200)).position)
    z = np.linspace(places.min(), places.max(), 15)
    along = 0.2 * (1 + 0.3 * (z - z[0]) / np.ptp(z))
    side = 1 + around * np.cos(ANGLES) if around else np.ones(1)
    liner = ThicknessMap(z, side[:, None] * along)
    return shape.with_layers((Layer("liner", liner.mean, liner), *shape.layers[1:]))


def volume(body, region):
    return cell_volumes(body)[body.regions[region]].sum() * body.multiplicity


@pytest.mark.parametrize("model", MODELS)
@pytest.mark.parametrize("name", SHAPES)
def test_volumes_of_all_regions_agree_with_the_mesh(name, model):
    shape = uneven(SHAPES[name])
    body = build(shape, MODELS[model])
    for region in body.regions:
        assert volume(body, region) == pytest.approx(shape.region_volume(region), rel=VOLUME), region


@pytest.mark.parametrize("name", ["tube", "capped tube", "hollow sleeve", "necked balloon", "cone"])
def test_volumes_of_a_wall_that_is_thicker_on_one_side(name):
    shape = uneven(SHAPES[name], around=0.3)
    body = build(shape, replace(MODELS["solid"], around=32))
    for region in body.regions:
        assert volume(body, region) == pytest.approx(shape.region_volume(region), rel=VOLUME), region


def test_every_layer_has_its_thickness_at_every_place():
    """The wall of a tube is r = R + Σ h(z, θ): nodes of faces, electrodes and ends lie there."""
    shape = uneven(SHAPES["tube"], around=0.4)
    body = build(shape, replace(MODELS["solid"], through=2), [Band("ring", "wall", 3.0, 6.0)])
    liner = shape.layers[0].uneven
    for surface, outside in (("lumen", 0.0), ("liner|wall", 0.0), ("outer", 0.3), ("ring.outer", 0.3)):
        X, Y, Z = body.points[body.surface_nodes(surface)].T
        local = liner.at(Z, np.arctan2(Y, X)) if surface != "lumen" else 0.0
        np.testing.assert_allclose(np.hypot(X, Y), 4.0 + local + outside, atol=1e-12)
    nodes = np.unique(body.cells[body.regions["liner"]])
    X, Y, Z = body.points[nodes].T
    np.testing.assert_allclose(
        body.layer_thickness["liner"][nodes], liner.at(Z, np.arctan2(Y, X)), atol=1e-12
    )
    low = body.points[body.surface_nodes("end_low")]
    assert np.all(low[:, 2] == 0.0)


def test_map_reproduces_its_values_and_does_not_overshoot():
    random = np.random.default_rng(1)
    z = np.sort(random.uniform(0.0, 20.0, 9))
    given = ThicknessMap(z, random.uniform(0.1, 0.3, (10, 9)))
    step = 2 * np.pi / 10
    for row in range(10):
        np.testing.assert_allclose(
            given.at(z, np.full(9, row * step + 2 * np.pi)), given.values[row], atol=1e-14
        )
    fine = np.linspace(z[0], z[-1], 300)
    for low, high in pairwise(range(10)):
        for turn in (0.25, 0.5, 0.75):
            found = given.at(fine, np.full(300, (low + turn) * step))
            assert (
                given.values[[low, high]].min() - 1e-3
                < found.min()
                < found.max()
                < given.values[[low, high]].max() + 1e-3
            )
    profile = ThicknessMap(z, given.values[:1])
    assert profile.at(fine, fine).min() >= given.values[0].min() - 1e-15


@pytest.mark.parametrize(("count", "order"), [(12, 2.0), (24, 2.0)])
def test_map_converges_to_the_function_it_samples(count, order):
    def off(n):
        angle, z = 2 * np.pi * np.arange(n) / n, np.linspace(0.0, 10.0, n)
        given = ThicknessMap(z, 0.2 + 0.05 * np.cos(angle)[:, None] * np.sin(z / 3))
        a, h = np.random.default_rng(2).uniform(0.0, 1.0, (2, 2000)) * [[2 * np.pi], [10.0]]
        return np.sqrt(np.mean((given.at(h, a) - 0.2 - 0.05 * np.cos(a) * np.sin(h / 3)) ** 2))

    assert np.log2(off(count) / off(2 * count)) > order
    assert off(48) < 2e-5


def test_depths_move_with_the_faces_around_them():
    nominal, faces = np.array([0.0, 0.2, 0.5]), np.array([[0.0, 0.3, 0.5]] * 5)
    found = local_depth(np.array([-1.0, 0.1, 0.2, 0.35, 0.6]), nominal, faces)
    np.testing.assert_allclose(found, [-1.0, 0.15, 0.3, 0.4, 0.6])


def write(path, rows, header="angle_deg,height_mm,thickness_um"):
    path.write_text("\n".join([header, *(",".join(map(str, row)) for row in rows)]) + "\n")
    return path


def test_file_may_have_any_order_and_either_unit(tmp_path):
    rows = [(a, z, 200 + z + a / 10) for a in range(0, 360, 45) for z in (0.0, 5.0, 9.0)]
    _, straight = read_thickness_map(write(tmp_path / "a.csv", rows))
    place, mixed = read_thickness_map(
        write(
            tmp_path / "b.csv",
            [(z, h / 1000, a) for a, z, h in reversed(rows)],
            "height_mm,thickness_mm,angle_deg",
        )
    )
    assert place == "height_mm"
    np.testing.assert_allclose(mixed.values, straight.values)
    np.testing.assert_allclose(straight.values[2], [0.209, 0.214, 0.218])
    place, profile = read_thickness_map(
        write(tmp_path / "c.csv", [(0, 100), (9, 120)], "radius_mm,thickness_um")
    )
    assert (place, profile.all_around, profile.mean) == ("radius_mm", True, pytest.approx(0.11))


GRID = [(a, z, 200) for a in range(0, 360, 45) for z in (0.0, 5.0, 9.0)]
BAD = {
    "cut": (GRID[:-1], "23 rows with 8 angles from 0 degrees and 3 heights are not a full grid"),
    "not a number": ([*GRID[:-1], (315, 9.0, "nan")], "line 25: thickness_um: 'nan' is not a number"),
    "line cut short": ([*GRID[:-1], (315, 9.0)], "line 25: thickness_um: '' is not a number"),
    "duplicate height": ([*GRID, (0, 5.0, 190)], "25 rows with 8 angles"),
    "duplicate for missing": ([*GRID[:-1], (0, 5.0, 190)], "24 rows with 8 angles"),
    "angles from 10": ([(a + 10, z, h) for a, z, h in GRID], "from 10 degrees"),
    "0 and 360": ([*GRID, *[(360, z, h) for a, z, h in GRID if a == 0]], "360 degrees is 0 again"),
    "uneven angles": ([(a**1.01, z, h) for a, z, h in GRID], "evenly spaced angles from 0"),
    "mm": ([(a, z, h / 1000) for a, z, h in GRID], "is 0.2 um: it must be at least 1 um; if these are mm"),
    "negative": ([*GRID[:-1], (315, 9.0, -1)], "at 9 mm and 315 degrees is -1 um: it must be above 0 um"),
    "wild": ([*GRID[:-1], (315, 9.0, 9000)], "by a factor of 45: it must be at most 20"),
    "few angles": ([row for row in GRID if row[0] % 90 == 0], "has 4 angles: give at least 8"),
    "one height": ([(a, 0, 200) for a in range(0, 360, 45)], "at least 2 places"),
}


@pytest.mark.parametrize("name", BAD)
def test_a_file_that_is_no_map_is_refused(name, tmp_path):
    rows, message = BAD[name]
    with pytest.raises(InputError) as error:
        read_thickness_map(write(tmp_path / "wall.csv", rows))
    assert message in str(error.value)
    assert "wall.csv" in str(error.value)


@pytest.mark.parametrize(
    ("header", "message"),
    [
        ("height_mm,thickness_m", "missing: a column thickness_um or thickness_mm"),
        ("height_mm,thickness_mm,thickness_um", "more than one of: a column thickness_um"),
        ("z,thickness_um", "missing: a column height_mm or radius_mm"),
        ("", "missing: a column height_mm"),
    ],
)
def test_columns_are_named_by_their_unit(header, message, tmp_path):
    with pytest.raises(InputError, match=message):
        read_thickness_map(write(tmp_path / "wall.csv", [(0, 200, 200), (9, 200, 200)], header))


def test_um_in_a_column_of_mm_are_refused(tmp_path):
    with pytest.raises(InputError, match="at most 100 mm; if these are um"):
        read_thickness_map(write(tmp_path / "wall.csv", [(0, 200), (9, 210)], "height_mm,thickness_mm"))


def tube_with(z, values):
    given = ThicknessMap(np.asarray(z, dtype=float), np.atleast_2d(values))
    return Tube(4.0, 12.0, (Layer("liner", given.mean, given),))


def test_what_a_model_cannot_describe_is_refused():
    side = np.outer(1 + 0.3 * np.cos(ANGLES - 0.5), [0.2, 0.2])
    for shape, model, message in (
        (
            tube_with([0, 11], [[0.2, 0.2]]),
            "axisymmetric",
            "covers heights from 0 to 11 mm, but the wall extends",
        ),
        (tube_with([0, 12], side), "axisymmetric", "average = true"),
        (tube_with([0, 12], side), "sector", "not symmetric about the planes of a sector of 60 degrees"),
        (
            tube_with([0, 12], 0.3 + 0.19 * np.cos(12 * ANGLES)[:, None] * [1, 1]),
            "solid",
            "it must be at most 0.5",
        ),
        (tube_with([0, 1, 1.2, 12], [[0.2, 0.2, 0.4, 0.4]]), "axisymmetric", "over 1 mm of the wall"),
        (uneven(SHAPES["sphere"], around=0.2), "solid", "closed pole"),
    ):
        with pytest.raises(InvalidValue, match=message) as error:
            build(shape, MODELS[model])
        assert error.value.key == "thickness_map"


def test_a_symmetric_side_fits_a_sector():
    shape = tube_with([0, 12], np.outer(1 + 0.3 * np.cos(6 * ANGLES), [0.2, 0.2]))
    body = build(shape, replace(MODELS["sector"], around=48))
    assert volume(body, "liner") == pytest.approx(shape.region_volume("liner"), rel=2e-3)
