# SPDX-License-Identifier: MIT
"""Deviations, their statistics, coverage, sections, radii and volumes against closed forms."""

import numpy as np
import pytest
from nominal_shapes import around_axis, ball, even_directions, tube
from scipy.special import ellipe

from annelid.compare.alignment.closest import SurfaceLocator
from annelid.compare.deviation.coverage import surface_deviations
from annelid.compare.deviation.outliers import without_outliers
from annelid.compare.deviation.radius_field import radius_field
from annelid.compare.deviation.radius_map import enclosed_volume, radius_band, radius_map
from annelid.compare.deviation.sections import fitted_sections, nominal_sections
from annelid.compare.deviation.signed import deviations
from annelid.compare.deviation.statistics import statistics, surface_profile, weighted_percentiles
from annelid.geometry.errors import InputError

CHORD = 3e-4  # largest distance of the triangles of the unit ball from it
RADIUS, LENGTH = 15.0, 60.0


def compared(points, surface, **options):
    return deviations(points, SurfaceLocator(surface), **options)


def on_tube(radius, *, heights=121, angles=240, margin=0.5):
    """Points at a radius that is a function of height and angle, and their heights and angles."""
    around = np.pi * (2.0 * np.arange(angles) + 1.0) / angles - np.pi
    z, θ = np.meshgrid(np.linspace(margin, LENGTH - margin, heights), around)
    z, θ = z.ravel(), θ.ravel()
    r = radius(z, θ)
    return np.column_stack([r * np.cos(θ), r * np.sin(θ), z]), z, θ


@pytest.mark.exact
def test_a_shifted_sphere():
    # Radius r shifted by e: mean e²/(3 r), root mean square exactly e/√3, extremes ±e (by integration of
    # |x + e| - r over the sphere).
    e = 0.05
    found = compared(even_directions(40_000) + np.array([0.0, 0.0, e]), ball())
    result = statistics(found.value, found.foot)
    assert result.mean == pytest.approx(e**2 / 3.0, abs=CHORD)
    assert result.rms == pytest.approx(e / np.sqrt(3.0), abs=CHORD)
    assert result.largest.value == pytest.approx(e, abs=CHORD)
    assert result.smallest.value == pytest.approx(-e, abs=CHORD)
    assert result.profile == pytest.approx(2.0 * e, abs=2 * CHORD)
    np.testing.assert_allclose(result.largest.place, [0.0, 0.0, 1.0], atol=0.02)
    np.testing.assert_allclose(result.smallest.place, [0.0, 0.0, -1.0], atol=0.02)


@pytest.mark.exact
def test_a_shifted_tube():
    # Circle of radius 1 shifted by e: mean (2/π)(1 + e) E(m = 4e/(1 + e)²) - 1 = 6.250977e-4 and root mean
    # square √(e² - 2 mean) = 0.03535258 for e = 0.05.
    e = 0.05
    mean = 2.0 / np.pi * (1.0 + e) * ellipe(4.0 * e / (1.0 + e) ** 2) - 1.0
    assert mean == pytest.approx(6.250977e-4, rel=1e-6)
    points, _, _ = on_tube(lambda z, θ: RADIUS + 0.0 * z)
    found = compared(points + np.array([e * RADIUS, 0.0, 0.0]), tube())
    result = statistics(found.value / RADIUS, found.foot)
    assert len(found.value) == len(points)
    assert result.mean == pytest.approx(mean, abs=5e-5)  # 360 facets: 3.8e-5 of the radius
    assert result.rms == pytest.approx(np.sqrt(e**2 - 2.0 * mean), rel=2e-3)


@pytest.mark.exact
def test_an_ellipsoid_against_the_unit_sphere():
    # Half-axes 1.2, 1, 0.9, weighted by area: mean 0.032066, rms 0.084743, extremes 0.2, -0.1 (quadrature).
    shape = ball(half_axes=(1.2, 1.0, 0.9))
    assert shape.areas.sum() == pytest.approx(13.374894, rel=1e-3)
    found = compared(shape.corners.mean(axis=1), ball())
    result = statistics(found.value, found.foot, weight=shape.areas[found.number])
    assert result.mean == pytest.approx(0.032066, abs=CHORD)
    assert result.rms == pytest.approx(0.084743, abs=CHORD)
    assert result.largest.value == pytest.approx(0.2, abs=2 * CHORD)
    assert result.smallest.value == pytest.approx(-0.1, abs=2 * CHORD)


@pytest.mark.exact
def test_an_oval_tube():
    # r = R + d cos 2θ: mean 0, root mean square d/√2 and peak to valley 2 d of the radius, which is the
    # distance to first order; largest less smallest diameter 4 d.
    d = 0.3
    points, _, _ = on_tube(lambda z, θ: RADIUS + d * np.cos(2.0 * (θ - 0.4)))
    found = compared(points, tube())
    result = statistics(found.value, found.foot)
    assert result.mean == pytest.approx(0.0, abs=2e-3)
    assert result.rms == pytest.approx(d / np.sqrt(2.0), rel=5e-3)
    assert result.largest.value - result.smallest.value == pytest.approx(2.0 * d, rel=5e-3)
    field = radius_field(tube())
    heights = np.linspace(5.0, 55.0, 6)
    sections = fitted_sections(points, heights, field)
    np.testing.assert_allclose(sections.ovality, 4.0 * d, rtol=1e-3)
    np.testing.assert_allclose(sections.radius, RADIUS, rtol=1e-4)
    np.testing.assert_allclose(np.arctan2(*sections.oval.T[::-1]) / 2.0, 0.4, atol=1e-3)
    np.testing.assert_allclose(sections.eccentricity(nominal_sections(heights, field)), 0.0, atol=2e-3)


@pytest.mark.exact
def test_sections_of_a_bent_tube_and_of_one_that_stands_beside_its_axis():
    sagitta, off = 2.0, 1.5
    points, z, _ = on_tube(lambda z, θ: RADIUS + 0.0 * z, heights=601, margin=0.05)
    field, heights = radius_field(tube()), np.linspace(2.5, LENGTH - 2.5, 12)

    def parabola(z):
        return sagitta * (1.0 - (2.0 * z / LENGTH - 1.0) ** 2)

    bent = fitted_sections(points + np.column_stack([parabola(z), 0 * z, 0 * z]), heights, field)
    # The mean over a section differs from its middle by the same at all heights.
    assert bent.bend == pytest.approx(parabola(heights[5]) - parabola(heights[0]), rel=5e-3)
    np.testing.assert_allclose(bent.ovality, 0.0, atol=0.02)
    beside = fitted_sections(points + np.array([off, 0.0, 0.0]), heights, field)
    np.testing.assert_allclose(beside.eccentricity(nominal_sections(heights, field)), off, rtol=2e-3)
    np.testing.assert_allclose(beside.radius, RADIUS, rtol=1e-4)  # not the mean distance from the axis
    np.testing.assert_allclose(beside.ovality, 0.0, atol=1e-3)
    assert beside.bend == pytest.approx(0.0, abs=2e-3)


def test_sections_withstand_outliers_and_say_nothing_where_there_are_too_few_points():
    points, _z, θ = on_tube(lambda z, θ: RADIUS + 0.3 * np.cos(2.0 * θ))
    rng = np.random.default_rng(0)
    points += rng.normal(0.0, 0.05, points.shape)
    points[rng.random(len(points)) < 0.05, :2] *= 1.1
    field, heights = radius_field(tube()), np.linspace(5.0, 55.0, 6)
    np.testing.assert_allclose(fitted_sections(points, heights, field).ovality, 1.2, atol=0.03)
    half = points[np.abs(θ) < 1.5]
    assert np.isnan(fitted_sections(half, heights, field).radius).all()
    assert np.isnan(fitted_sections(half, heights, field).bend)


@pytest.mark.exact
def test_volumes_radii_and_bands():
    # Tubes of radius R + d cos 3θ enclose π (R² + d²/2) L.
    d = 0.6
    points, _, θ = on_tube(lambda z, θ: RADIUS + d * np.cos(3.0 * θ), heights=400, margin=0.05)
    cells = radius_map(points, radius_field(tube()), heights=30, angles=120)
    volume = enclosed_volume(cells)
    assert volume.filled == 0.0
    assert volume.nominal == pytest.approx(np.pi * RADIUS**2 * LENGTH, rel=2e-4)
    assert volume.scan == pytest.approx(np.pi * (RADIUS**2 + 0.5 * d**2) * LENGTH, rel=2e-4)
    band = radius_band(cells)
    np.testing.assert_allclose(band.mean, RADIUS, atol=2e-3)
    np.testing.assert_allclose(band.nominal, RADIUS, atol=2e-3)
    np.testing.assert_allclose(band.high - band.low, 2.0 * d * np.cos(np.pi * 0.05), rtol=0.02)
    # Where a quarter is hidden, the difference of the nearest cells fills it.
    wide, _, θ = on_tube(lambda z, θ: RADIUS + 0.5 + 0.0 * z, heights=400, margin=0.05)
    hidden = enclosed_volume(radius_map(wide[np.abs(θ) < 0.75 * np.pi], radius_field(tube()), heights=30))
    assert hidden.filled == pytest.approx(0.25, abs=0.02)
    assert hidden.difference == pytest.approx(np.pi * ((RADIUS + 0.5) ** 2 - RADIUS**2) * LENGTH, rel=5e-3)


def test_the_slope_of_the_surface_does_no_harm_to_radii_and_sections():
    cone = around_axis(lambda z, θ: 10.0 + 0.2 * z + 0.0 * θ, np.linspace(0.0, LENGTH, 61), 240)
    points, _, _ = on_tube(lambda z, θ: 10.2 + 0.2 * z + 0.0 * θ)
    cells = radius_map(points, radius_field(cone), heights=6)
    np.testing.assert_allclose(cells.difference, 0.2, atol=2e-3)
    assert cells.spread.max() < 2e-3
    heights = np.linspace(10.0, 50.0, 5)
    np.testing.assert_allclose(
        fitted_sections(points, heights, radius_field(cone)).radius, 10.2 + 0.2 * heights, rtol=2e-3
    )


@pytest.mark.exact
def test_the_radius_of_a_coarse_surface_is_that_of_its_flat_faces():
    def exact(θ):
        """A regular polygon of twelve sides: r = R cos(15°) / cos(angle from the middle of the side)."""
        return RADIUS * np.cos(np.pi / 12) / np.cos(np.mod(θ, np.pi / 6) - np.pi / 12)

    field, θ = radius_field(tube(around=12, along=3), heights=5), np.linspace(-np.pi, np.pi, 1001)
    np.testing.assert_allclose(field.radius, np.tile(exact(field.angles), (5, 1)), rtol=1e-8)
    np.testing.assert_allclose(field.at(np.full(1001, 20.0), θ), exact(θ), rtol=2e-4)


def test_what_has_no_partner_is_coverage_and_not_deviation():
    surface = tube()
    points, _, θ = on_tube(lambda z, θ: RADIUS + 0.1 + 0.0 * z)
    longer = np.concatenate([points, points + np.array([0.0, 0.0, 20.0])])
    found = compared(longer, surface)
    assert found.beyond_edges == (longer[:, 2] > LENGTH).sum() > 0
    np.testing.assert_allclose(found.value, 0.1, atol=2e-3)
    np.testing.assert_array_equal(found.points, longer[found.number])
    # Seen from the surface, the hidden third is not covered and has no value.
    third = compared(points[np.abs(θ) < 2.0 * np.pi / 3.0], surface)
    seen = surface_deviations(third, surface)
    assert seen.coverage == pytest.approx(2.0 / 3.0, abs=0.02)
    assert np.isnan(seen.value[~seen.covered]).all()
    np.testing.assert_allclose(seen.value[seen.covered], 0.1, atol=2e-3)


def test_the_surface_weighs_by_area_where_the_scan_is_dense_in_places():
    surface = tube()
    points, z, _ = on_tube(lambda z, θ: RADIUS + np.where(z > LENGTH / 2, 0.4, 0.0))
    upper = points[z > LENGTH / 2]
    rng = np.random.default_rng(0)
    extra = np.repeat(upper, 9, axis=0)
    dense = np.concatenate([points, extra + rng.normal(0.0, 0.1, extra.shape) * [0.0, 0.0, 1.0]])
    found = compared(dense, surface)
    assert statistics(found.value, found.foot).mean > 0.35
    seen = surface_deviations(found, surface, radius=1.0)
    assert np.nanmean(seen.value) == pytest.approx(0.2, abs=0.01)


def test_points_too_far_or_on_the_other_face_are_counted():
    surface = tube()
    points, _, θ = on_tube(lambda z, θ: RADIUS + 0.1 + 0.0 * z, heights=31, angles=60)
    outward = np.column_stack([np.cos(θ), np.sin(θ), 0.0 * θ])
    inner = points - 1.0 * outward
    both = np.concatenate([points, inner])
    normals = np.concatenate([outward, -outward])
    assert compared(both, surface, normals=normals).turned_away == len(inner)
    assert compared(both, surface, reach=0.5).too_far == len(inner)
    assert len(compared(both, surface).value) == len(both)


def test_percentiles_and_profiles():
    values = np.random.default_rng(0).normal(size=1000)
    expected = np.percentile(values, [5, 50, 95], method="hazen")
    np.testing.assert_allclose(weighted_percentiles(values, np.ones(1000), [5, 50, 95]), expected)
    doubled = weighted_percentiles(values, np.where(values > 0, 2.0, 1.0), [50.0])[0]
    assert doubled > 0.2  # the weight moves the median
    # ISO 1101 (from memory): a symmetric zone of this width about the nominal surface contains all.
    assert surface_profile(0.3, -0.1) == pytest.approx(0.6)
    assert surface_profile(0.3, 0.1) == pytest.approx(0.6)
    assert surface_profile(0.1, -0.4) == pytest.approx(0.8)


def test_a_scan_elsewhere_is_refused_by_name():
    found = compared(np.array([[0.0, 0.0, 500.0]]), tube())
    with pytest.raises(InputError, match="no point of the scan has a partner"):
        statistics(found.value, found.foot)
    with pytest.raises(InputError, match="within the heights"):
        enclosed_volume(radius_map(np.array([[0.0, 0.0, 500.0]]), radius_field(tube())))
    flat = around_axis(lambda z, θ: RADIUS + 0.0 * z, np.linspace(0.0, LENGTH, 5), 60)
    beside = type(flat)(flat.points + np.array([50.0, 0.0, 0.0]), flat.triangles)
    with pytest.raises(InputError, match="do not go around the axis"):
        radius_field(beside)


def test_outliers_are_removed_by_their_neighbours_and_do_not_fill_holes():
    surface, rng = tube(), np.random.default_rng(0)
    points, _, θ = on_tube(lambda z, θ: RADIUS + 0.3 * np.cos(2.0 * θ))
    points, hidden = (
        points + rng.normal(0.0, 0.05, points.shape),
        np.abs(θ) < np.pi / 6.0,
    )  # twelve columns of cells
    wild, _, _ = on_tube(lambda z, θ: RADIUS + rng.uniform(1.0, 3.0, z.shape), heights=30, angles=30)
    both = np.concatenate([points[~hidden], wild])
    found = compared(both, surface)
    cleaned = without_outliers(found)
    assert cleaned.apart + cleaned.lonely + cleaned.layered == pytest.approx(len(wild), rel=0.02)
    assert cleaned.lonely > 0  # in the hole
    # The median of twelve neighbours has √(π / 24) of the noise of a point.
    assert cleaned.noise == pytest.approx(0.05 * np.sqrt(1.0 + np.pi / 24.0), rel=0.1)
    assert statistics(cleaned.kept.value, cleaned.kept.foot).largest.value < 0.6
    # Radii, coverage and sections withstand those that are left in.
    field = radius_field(surface)
    cells = radius_map(both, field)
    reached = np.isfinite(cells.radius)
    assert reached.mean() == pytest.approx(5.0 / 6.0, abs=0.01)
    exact = 0.3 * np.cos(2.0 * cells.angle) + 0.0 * cells.height[:, None]
    assert np.abs(cells.difference - exact)[reached].max() < 0.15
    assert surface_deviations(found, surface).coverage == pytest.approx(5.0 / 6.0, abs=0.03)


def test_a_ghost_over_the_surface_is_a_second_layer_and_a_blob_without_one_beneath_is_not():
    surface, rng = tube(), np.random.default_rng(1)
    points, z, θ = on_tube(lambda z, θ: RADIUS + 0.0 * z)
    noise = rng.normal(0.0, 0.02, (len(points), 1)) * points / RADIUS * [1.0, 1.0, 0.0]
    # A ghost is a copy of a patch that was turned out of the surface about a line in it.
    near = (np.abs(θ) < 0.25) & (np.abs(z - 30.0) < 4.0)
    ghost = (points + noise)[near] + np.column_stack([0.6 * (z[near] - 26.0), 0.0 * z[near], 0.0 * z[near]])
    # A blob of 6 mm is 1.5 mm high, with steep sides; the scan sees nothing beneath it.
    far = (np.abs(np.abs(θ) - np.pi) * RADIUS) ** 2 + (z - 30.0) ** 2 < 9.0
    blob = points * np.column_stack([*[np.where(far, 1.0 + 1.5 / RADIUS, 1.0)] * 2, np.ones(len(far))])
    found = compared(np.concatenate([blob + noise, ghost]), surface)
    result = without_outliers(found)
    is_ghost = result.kept.number >= len(points)
    assert result.layered > 0.3 * near.sum()
    assert is_ghost.sum() < 0.25 * near.sum()  # near the line it cannot be distinguished from the surface
    assert result.kept.value[is_ghost].max() < 0.5 < 0.6 * 8.0
    kept_blob = np.isin(np.flatnonzero(far), result.kept.number)
    assert kept_blob.mean() > 0.9
    assert result.kept.value.max() == pytest.approx(1.5, abs=0.1)
