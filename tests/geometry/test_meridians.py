# SPDX-License-Identifier: MIT
import math

import numpy as np
import pytest
from scipy.special import ellipe

from annelid.geometry.errors import InputError
from annelid.geometry.shapes.meridian import Meridian
from annelid.geometry.shapes.meridian_profiles import ellipsoid, necked, sphere
from annelid.geometry.shapes.spline_meridian import COLUMNS, from_points
from annelid.geometry.text_files import read_columns

ARC = 1e-9  # relative error of arc lengths
PLACE = 1e-9  # mm

WAVY = ((3.0, 0.0), (3.5, 2.0), (5.0, 5.0), (4.0, 9.0), (3.0, 12.0))


def half_circle(radius, count):
    angle = np.linspace(-math.pi / 2, math.pi / 2, count)
    return np.column_stack([radius * np.cos(angle), radius * np.sin(angle)])


@pytest.mark.exact
def test_sphere_by_arc_length():
    """Source: circle of radius 5 about (0, 5)."""
    meridian = sphere(5.0)
    assert meridian.length == pytest.approx(math.pi * 5.0, rel=ARC)
    assert meridian.poles == (True, True)
    arc = np.linspace(0.0, meridian.length, 50)
    frame = meridian.at(arc)
    angle = arc / 5.0
    assert frame.position == pytest.approx(
        np.column_stack([5 * np.sin(angle), 5 - 5 * np.cos(angle)]), abs=1e-7
    )
    assert frame.tangent == pytest.approx(np.column_stack([np.cos(angle), np.sin(angle)]), abs=1e-7)
    assert frame.normal == pytest.approx(np.column_stack([np.sin(angle), -np.cos(angle)]), abs=1e-7)
    assert frame.curvature == pytest.approx(1 / 5.0, rel=ARC)


@pytest.mark.exact
def test_length_of_an_ellipse():
    """Source: half its circumference is 2 c E(1 - a^2 / c^2) (complete elliptic integral, SciPy)."""
    a, c = 3.0, 8.0
    assert ellipsoid(a, c).length == pytest.approx(2 * c * ellipe(1 - (a / c) ** 2), rel=ARC)
    half = ellipsoid(a, c, half=True)
    assert half.length == pytest.approx(c * ellipe(1 - (a / c) ** 2), rel=ARC)
    assert half.poles == (False, True)
    assert half.at(np.array([0.0])).position[0] == pytest.approx([3.0, 0.0], abs=PLACE)


@pytest.mark.parametrize(
    "meridian",
    [
        sphere(5.0),
        ellipsoid(3.0, 8.0),
        necked(6.0, 30.0, 3.0, 4.0),
        from_points(WAVY),
        from_points(half_circle(4.0, 9)),
    ],
    ids=["sphere", "ellipsoid", "necked", "wavy", "drawn circle"],
)
def test_parameter_is_the_arc_length(meridian):
    """Source: central differences of the position."""
    arc = np.linspace(0.02, 0.98, 97) * meridian.length
    step = 1e-4 * meridian.length
    before, here, after = (meridian.at(arc + shift) for shift in (-step, 0.0, step))
    slope = (after.position - before.position) / (2 * step)
    assert np.linalg.norm(slope, axis=1) == pytest.approx(1.0, abs=1e-5)
    assert slope == pytest.approx(here.tangent, abs=1e-5)
    turning = np.einsum("ki,ki->k", (after.normal - before.normal) / (2 * step), here.tangent)
    smooth = np.abs(turning - here.curvature) < 1e-3
    # A third derivative jumps at spline knots and at the ends of shoulders, no more.
    assert smooth.mean() > 0.9
    assert here.normal == pytest.approx(np.column_stack([here.tangent[:, 1], -here.tangent[:, 0]]), abs=1e-12)


def test_the_necked_balloon_has_its_dimensions():
    meridian = necked(6.0, 30.0, 3.0, 4.0, shoulder=5.0)
    assert meridian.poles == (False, False)

    def radius(height):
        return meridian.at(np.array([meridian.arc_at_height(height, "height")])).position[0]

    for height, expected in (
        (0.0, 3.0),
        (4.0, 3.0),
        (6.5, 4.5),
        (9.0, 6.0),
        (15.0, 6.0),
        (23.5, 4.5),
        (30.0, 3.0),
    ):
        assert radius(height) == pytest.approx([expected, height], abs=1e-7)
    ends = meridian.at(meridian.arcs(meridian.corners))
    assert ends.curvature == pytest.approx(0.0, abs=1e-6)
    assert len(meridian.corners) == 4


def test_spline_goes_through_its_points_either_way_up():
    for points in (np.array(WAVY), np.array(WAVY)[::-1], half_circle(4.0, 9)):
        meridian = from_points(points)
        for radius, height in points:
            arc = meridian.arc_at_height(height, "height")
            assert meridian.at(np.array([arc])).position[0] == pytest.approx([radius, height], abs=1e-7)
        assert meridian.at(np.array([0.0])).position[0, 1] == pytest.approx(points[:, 1].min(), abs=PLACE)


@pytest.mark.parametrize("count", [9, 10, 33])
def test_splines_are_perpendicular_to_the_axis_at_poles(count):
    meridian = from_points(half_circle(4.0, count))
    assert meridian.poles == (True, True)
    ends = meridian.at(np.array([0.0, meridian.length]))
    assert ends.tangent == pytest.approx(np.array([[1.0, 0.0], [-1.0, 0.0]]), abs=1e-9)
    assert np.all(ends.position[:, 0] == 0.0)


def test_smoothing_removes_noise():
    """Noise of 0.05 mm in R and Z on a circle, smoothed by that distance: nearer, and far less bent."""
    points = half_circle(10.0, 41)
    noisy = points + 0.05 * np.random.default_rng(3).standard_normal(points.shape)
    noisy[[0, -1], 0] = 0.0

    def misses(meridian):
        frame = meridian.at(np.linspace(0.0, meridian.length, 200))
        return np.sqrt(np.mean((np.linalg.norm(frame.position, axis=1) - 10.0) ** 2)), np.ptp(frame.curvature)

    rough, bend_rough = misses(from_points(noisy))
    smooth, bend_smooth = misses(from_points(noisy, smoothing=0.05))
    assert smooth < 0.75 * rough
    assert bend_smooth < 0.2 * bend_rough
    assert from_points(noisy, smoothing=0.05).poles == (True, True)


def test_csv_gives_the_same_curve(tmp_path):
    path = tmp_path / "meridian.csv"
    path.write_text(
        "height_mm,radius_mm,remark\n" + "".join(f"{z},{r},x\n" for r, z in WAVY), encoding="utf-8"
    )
    arc = np.linspace(0.0, from_points(WAVY).length, 20)
    table = from_points(read_columns(path, COLUMNS))
    assert np.array_equal(table.at(arc).position, from_points(WAVY).at(arc).position)


def test_heights_outside_of_the_meridian():
    with pytest.raises(InputError, match="upper edge: 11 mm is off the meridian, which runs from 0 to 10 mm"):
        sphere(5.0).arc_at_height(11.0, "upper edge")


def test_a_pole_that_is_not_perpendicular_to_the_axis():
    def cone(q):
        position = np.column_stack([q, q])
        return position, np.ones_like(position), np.zeros_like(position)

    with pytest.raises(InputError, match="meridian: cone: its low end must meet the axis at a right angle"):
        Meridian("cone", cone, (0.0, 5.0))
