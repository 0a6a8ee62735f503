# SPDX-License-Identifier: MIT
"""Charts against closed-form conformal maps; conformality by finite differences."""

import numpy as np
import pytest

from annelid.geometry.errors import InputError
from annelid.geometry.lattice.chart import RevolutionChart, chart_of
from annelid.geometry.lattice.measured_chart import measured_chart
from annelid.geometry.lattice.measured_surface import read_radial_surface
from annelid.geometry.shapes.balloon import Balloon
from annelid.geometry.shapes.dome import Dome
from annelid.geometry.shapes.meridian_profiles import ellipsoid, necked, sphere
from annelid.geometry.shapes.shape import Layer
from annelid.geometry.shapes.sleeve import Sleeve
from annelid.geometry.shapes.tube import Tube

WALL = (Layer("inner", 0.1), Layer("outer", 0.2))
RADIUS, HEIGHTS = 12.0, np.linspace(-8.0, 8.0, 41)
ANGLES = 2 * np.pi * np.arange(72) / 72
CONFORMAL = 0.02  # largest error of angles in charts of measured surfaces, degrees


def points_in(chart, count=400):
    u, v = np.random.default_rng(1).random((2, count))
    return np.column_stack([7.0 * u, chart.low + (0.02 + 0.96 * v) * (chart.high - chart.low)])


def stretches(chart, points, step=1e-5):
    """Derivatives of the position by u and v, by central differences."""
    moves = step * np.eye(2)
    return [(chart.place(points + m).position - chart.place(points - m).position) / (2 * step) for m in moves]


def seen_from_aside(angle, height, aside=2.0):
    """Radius of a sphere measured about an axis that misses its centre."""
    return aside * np.cos(angle) + np.sqrt(RADIUS**2 - height**2 - (aside * np.sin(angle)) ** 2)


def lobed(angle, height):
    return 12.0 + 1.5 * np.cos(2 * angle) + 0.8 * np.sin(3 * angle + 0.3 * height) - 0.02 * height**2


CHARTS = {
    "sphere": RevolutionChart(sphere(RADIUS)),
    "parallel to an ellipsoid": RevolutionChart(ellipsoid(8.0, 14.0), 0.6),
    "necked balloon": RevolutionChart(necked(12.0, 44.0, 5.0, 4.0), 0.3),
    "funnel": chart_of(Dome(rim_radius=10.0, rise=6.0, layers=WALL, profile="funnel", hole_radius=2.0)),
    "measured": measured_chart(HEIGHTS, lobed(ANGLES[:, None], HEIGHTS)),
    "under a measured one": measured_chart(HEIGHTS, lobed(ANGLES[:, None], HEIGHTS), offset=-0.8),
}


@pytest.mark.exact
def test_on_a_sphere_v_is_that_of_mercators_map():
    # Mercator: v = artanh(sin latitude).
    chart = CHARTS["sphere"]
    latitude = np.linspace(-1.4, 1.4, 57)
    arc = RADIUS * (latitude + np.pi / 2)
    assert chart.v_at_arc(arc) == pytest.approx(np.arctanh(np.sin(latitude)), abs=1e-9)
    assert chart.arc_at(np.arctanh(np.sin(latitude))) == pytest.approx(arc, abs=1e-9 * RADIUS)


@pytest.mark.exact
def test_a_sphere_is_mapped_stereographically():
    # exp(v + i u) is the stereographic projection from the upper pole: 2 R / (2 R - Z) times X + i Y.
    chart = CHARTS["sphere"]
    points = points_in(chart)
    x, y, z = chart.place(points).position.T
    projected = (x + 1j * y) * 2 / (2 * RADIUS - z) / 2
    assert np.abs(np.exp(points @ [1j, 1.0]) / projected - 1).max() < 1e-8


@pytest.mark.exact
def test_on_a_cone_v_is_the_logarithm_of_the_radius():
    chart = CHARTS["funnel"]
    position = chart.place(points_in(chart)).position
    slant = np.hypot(8.0, 6.0) / 8.0  # ds / |dR|
    radius = np.hypot(*position[:, :2].T)
    v = points_in(chart)[:, 1]
    assert v - v[0] == pytest.approx(-slant * np.log(radius / radius[0]), abs=1e-9)


@pytest.mark.parametrize("name", CHARTS)
def test_charts_are_conformal(name):
    # Own check: both derivatives have equal length and are perpendicular; u points to the right of v.
    chart, points = CHARTS[name], points_in(CHARTS[name])
    around, along = stretches(chart, points)
    scale, normal = chart.scale(points), chart.place(points).normal
    off = np.radians(CONFORMAL) if "measured" in name else 3e-6
    assert np.linalg.norm(around, axis=1) / scale == pytest.approx(1.0, abs=off)
    assert np.linalg.norm(along, axis=1) / scale == pytest.approx(1.0, abs=off)
    assert np.abs(np.einsum("ki,ki->k", around, along) / scale**2).max() < off
    assert np.cross(around, along) / (scale**2)[:, None] == pytest.approx(normal, abs=2 * off)


@pytest.mark.exact
@pytest.mark.parametrize("side", ["outside", "inside", "embedded"])
@pytest.mark.parametrize(
    ("shape", "radius", "low"),
    [(Tube(6.0, 30.0, WALL), 6.0, 0.0), (Sleeve(5.0, 20.0, WALL, core_overhang=4.0), 5.0, 4.0)],
)
def test_tubes_are_unrolled_on_the_named_face(shape, radius, low, side):
    chart = chart_of(shape, side, depth=0.25)
    face = radius + {"outside": 0.3, "inside": 0.0, "embedded": 0.25 * 0.3}[side]
    points = points_in(chart)
    place = chart.place(points, 0.5)
    assert np.hypot(*place.position[:, :2].T) == pytest.approx(face + 0.5)
    assert place.position[:, 2] == pytest.approx(low + face * (points[:, 1] - chart.low))
    assert chart.scale(points) == pytest.approx(face)


@pytest.mark.exact
def test_offset_points_lie_on_a_parallel_surface():
    chart = RevolutionChart(sphere(RADIUS), 0.5)
    place = chart.place(points_in(chart), 0.25)
    from_centre = place.position - [0.0, 0.0, RADIUS]
    assert np.linalg.norm(from_centre, axis=1) == pytest.approx(12.75)
    assert place.normal == pytest.approx(from_centre / 12.75)


@pytest.mark.exact
def test_eccentric_sphere_has_the_modulus_of_its_zone():
    # The modulus of a zone between two parallels does not depend on the axis of measurement: 2 artanh(h/R).
    chart = measured_chart(HEIGHTS, seen_from_aside(ANGLES[:, None], HEIGHTS))
    assert chart.high == pytest.approx(2 * np.arctanh(8.0 / RADIUS), rel=1e-7)
    assert chart.angle_error < 1e-3
    place = chart.place(points_in(chart))
    from_centre = place.position - [2.0, 0.0, 0.0]
    assert np.linalg.norm(from_centre, axis=1) == pytest.approx(RADIUS, abs=1e-4)
    # Mercator's scale: R over cosh of v counted from the equator.
    expected = RADIUS / np.cosh(points_in(chart)[:, 1] - chart.high / 2)
    assert chart.scale(points_in(chart)) == pytest.approx(expected, rel=1e-4)


@pytest.mark.exact
@pytest.mark.parametrize("offset", [-1.5, 0.5])
def test_the_surface_under_a_measured_sphere_is_a_sphere(offset):
    # Parallel spheres have zones of the same modulus, and Mercator's scale with their own radius.
    # Derivatives of normals use second derivatives of the measured radii, which are two orders less accurate.
    chart = measured_chart(HEIGHTS, seen_from_aside(ANGLES[:, None], HEIGHTS), offset=offset)
    assert chart.high == pytest.approx(2 * np.arctanh(8.0 / RADIUS), rel=1e-4)
    from_centre = chart.place(points_in(chart), 0.25).position - [2.0, 0.0, 0.0]
    assert np.linalg.norm(from_centre, axis=1) == pytest.approx(RADIUS + offset + 0.25, abs=1e-4)
    expected = (RADIUS + offset) / np.cosh(points_in(chart)[:, 1] - chart.high / 2)
    assert chart.scale(points_in(chart)) == pytest.approx(expected, rel=1e-3)


def test_folds_under_a_measured_surface_are_rejected():
    for offset in (-11.0, -13.0):
        with pytest.raises(InputError, match=rf"surface {offset:g} mm from the measured one folds"):
            measured_chart(HEIGHTS, lobed(ANGLES[:, None], HEIGHTS), offset=offset)


@pytest.mark.parametrize(("name", "most"), [("measured", CONFORMAL), ("under a measured one", 0.03)])
def test_errors_of_angles_are_reported(name, most):
    assert 0.0 < CHARTS[name].angle_error < most


def test_coordinates_match_positions():
    chart = CHARTS["measured"]
    points = points_in(chart)
    where = chart.coordinates(points)
    x, y, z = chart.place(points).position.T
    assert z == pytest.approx(where[:, 1])
    assert np.exp(1j * where[:, 0]) == pytest.approx((x + 1j * y) / np.hypot(x, y))
    assert chart.place(points + np.array([2 * np.pi, 0.0])).position == pytest.approx(
        np.column_stack([x, y, z])
    )


def test_a_measured_surface_is_read_in_any_order_of_rows(tmp_path):
    rows = [f"{np.degrees(a)},{h},{lobed(a, h)}" for h in HEIGHTS[::-1] for a in ANGLES]
    (tmp_path / "scan.csv").write_text("\n".join(["angle_deg,height_mm,radius_mm", *rows]))
    read = read_radial_surface(tmp_path / "scan.csv")
    assert read.heights == pytest.approx(HEIGHTS)
    assert read.radii == pytest.approx(lobed(ANGLES[:, None], HEIGHTS))


@pytest.mark.parametrize(
    ("rows", "words"),
    [
        ("0,0", "line 2: radius_mm: '' is not a number"),
        ("0,0,5\n10,0,5\n30,0,5", "not a full grid"),
        ("0,0,5\n180,0,5\n0,1,5\n180,1,5", "at least 8 angles"),
        ("", "has no rows"),
    ],
)
def test_unusable_tables_are_rejected(tmp_path, rows, words):
    (tmp_path / "scan.csv").write_text(f"angle_deg,height_mm,radius_mm\n{rows}")
    with pytest.raises(InputError, match=words):
        read_radial_surface(tmp_path / "scan.csv")


def test_a_missing_table_is_rejected(tmp_path):
    with pytest.raises(InputError, match=r"scan\.csv: cannot be read \(No such file or directory\)"):
        read_radial_surface(tmp_path / "scan.csv")


@pytest.mark.parametrize(
    ("heights", "factor", "words"),
    [(HEIGHTS[::-1], 1.0, "ascend"), (HEIGHTS, -1.0, "above 0 mm"), (HEIGHTS[1:], 1.0, "one radius at each")],
)
def test_unusable_grids_are_rejected(heights, factor, words):
    with pytest.raises(InputError, match=words):
        measured_chart(heights, factor * lobed(ANGLES[:, None], HEIGHTS))


@pytest.mark.parametrize(
    ("side", "depth", "words"), [("above", 0.5, "outside, inside, embedded"), ("embedded", 1.5, "depth")]
)
def test_unknown_sides_and_depths_are_rejected(side, depth, words):
    with pytest.raises(InputError, match=words):
        chart_of(Tube(6.0, 30.0, WALL), side, depth=depth)


def test_a_parallel_surface_that_folds_is_rejected():
    with pytest.raises(InputError, match="folds"):
        RevolutionChart(sphere(RADIUS), -12.5)


def test_a_balloon_keeps_its_poles_out_of_the_chart():
    chart = chart_of(Balloon(sphere(RADIUS), WALL))
    ends = chart.place(np.array([[0.0, chart.low], [0.0, chart.high]])).position
    assert 0.0 < np.hypot(*ends[:, :2].T).max() < 2e-3 * RADIUS
