# SPDX-License-Identifier: MIT
"""Invented scans have the pose, noise and faults that their truth states."""

import json
import sys
from pathlib import Path

import numpy as np
import pytest
from invented_parts import ball, bulged_tube, two_balls
from scipy.stats import truncexpon

from annelid.compare.invented.faults import depth_of_return
from annelid.compare.invented.invented_files import write_invented_scan
from annelid.compare.invented.invented_scan import GHOST, OUTLIER, SURFACE, invent_scan
from annelid.compare.invented.scanned_surface import surface_of_run
from annelid.compare.invented.scanner import InventedScanner
from annelid.compare.scans.reading import read_scan
from annelid.geometry.errors import InputError, InvalidValue
from annelid.results.folder.run_record import open_run

sys.path.append(str(Path(__file__).resolve().parents[1] / "results"))
from synthetic_parts import INNER, LENGTH, OUTER, meridian_tube, solid_tube
from synthetic_runs import finished

RADIUS = 10.0
FLATNESS = (
    0.01  # mm: between its corners, 3° apart, the ball of triangles is up to 2 R (1 - cos 1.5°) too small
)
ONE_VIEW = ((1.0, 0.0, 0.0),)
STILL = (np.eye(3), np.zeros(3))
SIGMAS = 4.0


@pytest.mark.exact
def test_points_without_faults_lie_on_the_surface_in_the_true_pose():
    cloud, truth = invent_scan(ball(RADIUS), InventedScanner(spacing=0.3))
    assert np.allclose(truth.rotation @ truth.rotation.T, np.eye(3), atol=1e-12)
    assert np.linalg.det(truth.rotation) == pytest.approx(1.0)
    assert np.linalg.norm(truth.rotation - np.eye(3)) > 0.1
    expected = truth.positions @ truth.rotation.T + truth.translation
    np.testing.assert_allclose(cloud.points, expected, atol=1e-12)
    distance = np.linalg.norm(cloud.points - truth.translation, axis=1)
    np.testing.assert_allclose(distance, RADIUS, atol=FLATNESS)
    outward = (cloud.normals * (cloud.points - truth.translation)).sum(axis=1) / distance
    assert outward.min() > 0.9
    assert (truth.origin == SURFACE).all()


def test_the_seed_decides_everything():
    options = {"spacing": 0.5, "noise": 0.1, "outlier_share": 0.1, "ghost_share": 0.1, "dropout_share": 0.1}
    one, two, other = (invent_scan(ball(), InventedScanner(**options, seed=seed)) for seed in (1, 1, 2))
    np.testing.assert_array_equal(one[0].points, two[0].points)
    np.testing.assert_array_equal(one[1].rotation, two[1].rotation)
    assert not np.allclose(one[1].rotation, other[1].rotation)


@pytest.mark.exact
@pytest.mark.parametrize("angle", [30.0, 70.0])
def test_number_of_seen_points_is_that_of_the_projected_area(angle):
    """A sphere seen from afar: the part inclined by less than θ has the projected area π R² sin² θ."""
    scanner = InventedScanner(spacing=0.1, view_directions=ONE_VIEW, grazing_angle_deg=angle)
    cloud, truth = invent_scan(ball(RADIUS), scanner, pose=STILL)
    expected = np.pi * (RADIUS * np.sin(np.radians(angle))) ** 2 / scanner.spacing**2
    assert len(cloud.points) == pytest.approx(expected, abs=SIGMAS * np.sqrt(expected) + 0.005 * expected)
    # the scanner at -X sees the side of negative X
    assert cloud.points[:, 0].max() < -(RADIUS - 0.3) * np.cos(np.radians(angle)) + 0.1
    assert (truth.view == 0).all()


@pytest.mark.exact
def test_nothing_is_seen_in_the_shadow():
    scanner = InventedScanner(spacing=0.1, view_directions=ONE_VIEW)
    cloud, _ = invent_scan(two_balls(), scanner, pose=STILL)
    assert (cloud.points[:, 0] < 0.0).all()
    turned = InventedScanner(spacing=0.1, view_directions=((0.0, 1.0, 0.0),))
    both, _ = invent_scan(two_balls(), turned, pose=STILL)
    behind = (both.points[:, 0] > 20.0).mean()
    assert behind == pytest.approx(16.0 / (16.0 + 25.0), abs=0.01)  # projected areas


@pytest.mark.exact
def test_noise_lies_along_the_line_of_sight():
    scanner = InventedScanner(spacing=0.1, noise=0.2, view_directions=ONE_VIEW)
    cloud, truth = invent_scan(ball(RADIUS), scanner, pose=STILL)
    error = cloud.points - truth.positions
    np.testing.assert_allclose(error[:, 1:], 0.0, atol=1e-12)
    plain = cloud.intensities < 255
    count = plain.sum()
    assert count < len(plain)
    assert error[plain, 0].std() == pytest.approx(0.2, rel=SIGMAS / np.sqrt(2.0 * count))
    assert abs(error[plain, 0].mean()) < SIGMAS * 0.2 / np.sqrt(count)


@pytest.mark.exact
@pytest.mark.parametrize("attenuation", [0.05, 1.0, 30.0])
def test_depth_of_return_is_the_mean_of_a_truncated_exponential_distribution(attenuation):
    thickness = np.array([0.01, 0.3, 1.0, 5.0])
    mean = [truncexpon(t / attenuation, scale=attenuation).mean() for t in thickness]
    depth = depth_of_return(thickness, attenuation)
    np.testing.assert_allclose(depth, mean, rtol=1e-6)
    assert (np.diff(depth) > 0.0).all()
    assert (depth_of_return(np.array([0.0]), attenuation) == 0.0).all()
    assert (depth_of_return(thickness, 0.0) == 0.0).all()


def test_thick_places_seem_to_lie_deeper():
    wall = ball(RADIUS, thickness=lambda points: 1.0 + points[:, 2] / RADIUS)
    scanner = InventedScanner(spacing=0.2, translucency=0.5, view_directions=ONE_VIEW)
    cloud, truth = invent_scan(wall, scanner, pose=STILL)
    np.testing.assert_allclose(
        cloud.points - truth.positions, truth.depth[:, None] * [1.0, 0.0, 0.0], atol=1e-12
    )
    expected = depth_of_return(1.0 + truth.positions[:, 2] / RADIUS, 0.5)
    np.testing.assert_allclose(truth.depth, expected, atol=2e-4)
    thick = truth.positions[:, 2] > 5.0
    assert truth.depth[thick].mean() > truth.depth[~thick].mean() + 0.1


@pytest.mark.exact
def test_shares_of_faults_are_those_asked_for():
    options = {"spacing": 0.2, "view_directions": ONE_VIEW, "seed": 3}
    whole, _ = invent_scan(ball(), InventedScanner(**options), pose=STILL)
    cloud, truth = invent_scan(
        ball(),
        InventedScanner(
            **options, outlier_share=0.05, ghost_share=0.04, dropout_share=0.2, dropout_patches=1
        ),
        pose=STILL,
    )
    surface = (truth.origin == SURFACE).sum()
    assert surface == pytest.approx(0.8 * len(whole.points), abs=1)
    assert (truth.origin == GHOST).sum() == pytest.approx(0.04 * surface, abs=4)
    assert (truth.origin == OUTLIER).sum() == pytest.approx(0.05 * surface, abs=1)
    assert (np.isnan(truth.positions).any(axis=1) == (truth.origin == OUTLIER)).all()
    away = np.linalg.norm(cloud.points - truth.positions, axis=1)
    assert away[truth.origin == SURFACE].max() < 1e-12
    assert np.median(away[truth.origin == GHOST]) > 1.0


@pytest.mark.parametrize("body", [meridian_tube(2, 6), solid_tube(2, 8, 3)], ids=lambda body: body.model)
def test_surface_of_a_run_has_its_deformed_radius_and_thickness(tmp_path, body):
    """Closed form of ``synthetic_parts``: r² = a² + R² - A², the lumen at a = 1.2 A at the end."""
    run = open_run(finished(tmp_path / "run", body))
    surface = surface_of_run(run)
    outer = np.sqrt((1.2 * INNER) ** 2 + OUTER**2 - INNER**2)
    radius = np.linalg.norm(surface.points[:, :2], axis=1)
    np.testing.assert_allclose(radius, outer, rtol=2e-3)
    assert np.ptp(surface.points[:, 2]) == pytest.approx(LENGTH, rel=1e-6)
    # the distance to flat triangles of the lumen is a little longer
    np.testing.assert_allclose(
        surface.thickness, outer - 1.2 * INNER, atol=0.06 if body.model == "solid" else 0.01
    )
    first = surface_of_run(run, 1, behind="")
    assert first.thickness is None
    assert np.linalg.norm(first.points[:, :2], axis=1).max() < radius.min()
    with pytest.raises(InputError, match=r"surface 'cuff': the part has only .*lumen"):
        surface_of_run(run, name="cuff")


@pytest.mark.parametrize("suffix", [".ply", ".csv"])
def test_files_say_that_they_are_invented(tmp_path, suffix):
    scanner = InventedScanner(spacing=0.5, outlier_share=0.1, ghost_share=0.1, seed=5)
    cloud, truth = invent_scan(bulged_tube(), scanner)
    file = tmp_path / f"tube{suffix}"
    described, arrays = write_invented_scan(cloud, truth, file)
    assert b"invented scan" in file.read_bytes()[:300]
    again = read_scan(file, unit="mm")
    np.testing.assert_allclose(again.points, cloud.points, rtol=1e-8)
    np.testing.assert_array_equal(again.intensities, cloud.intensities)
    summary = json.loads(described.read_text())
    assert summary["statement"].startswith("invented scan")
    np.testing.assert_array_equal(summary["rotation"], truth.rotation)
    assert summary["points"]["outlier"] == (truth.origin == OUTLIER).sum()
    assert summary["scanner"]["seed"] == 5
    with np.load(arrays) as stored:
        assert str(stored["statement"]).startswith("invented scan")
        np.testing.assert_array_equal(stored["origin"], truth.origin)


@pytest.mark.parametrize(
    ("key", "value"),
    [
        ("spacing", 0.0),
        ("noise", float("nan")),
        ("ghost_share", 1.5),
        ("grazing_angle_deg", 90.0),
        ("view_directions", ((0.0, 0.0, 0.0),)),
        ("view_directions", ()),
    ],
)
def test_scanners_refuse_values_out_of_range(key, value):
    with pytest.raises(InvalidValue, match=f"invented scanner: {key}: "):
        InventedScanner(**{"spacing": 1.0, key: value})


@pytest.mark.parametrize(
    ("spacing", "words"), [(100.0, "sees no point"), (1e-4, "spacing: would give 1.3e\\+09")]
)
def test_scans_of_no_point_or_of_too_many_are_refused(spacing, words):
    with pytest.raises(InvalidValue, match=words):
        invent_scan(ball(1.0), InventedScanner(spacing=spacing))
