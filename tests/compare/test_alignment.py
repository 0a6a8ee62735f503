# SPDX-License-Identifier: MIT
"""Alignment from any pose, with known truth."""

import numpy as np
import pytest
import small_gicp
from nominal_shapes import ball, balloon, invented_scan, seamed_balloon, tube
from scipy.spatial.transform import Rotation

from annelid.compare.alignment.align import align
from annelid.compare.alignment.choice import apart
from annelid.compare.alignment.closest import SurfaceLocator
from annelid.compare.alignment.fine import free_motions, refined
from annelid.compare.alignment.freedoms import separated
from annelid.compare.alignment.landmarks import fixed_by_landmarks
from annelid.compare.alignment.pose_certainty import pose_covariance
from annelid.compare.alignment.poses import Pose, motion_matrix
from annelid.compare.alignment.records import AlignmentSettings
from annelid.geometry.errors import InputError

POSE_ERROR = 0.005  # of the diameter
STILL = Pose(np.eye(3), np.zeros(3))


def pose_error(found, truth, surface, free=()):
    """Root mean square distance of the surface in two poses, up to free motions, of the diameter."""
    x = surface.sampled(1000)[0]
    scan = (x - truth.translation) @ truth.rotation
    return apart(truth, found, scan, free) / surface.diameter


@pytest.mark.slow
@pytest.mark.parametrize("seed", range(4))
def test_balloons_are_aligned_from_any_pose_despite_holes_outliers_and_noise(seed):
    surface = balloon()
    scan, truth = invented_scan(surface, seed)
    found = align(scan, surface)
    assert [motion.kind for motion in found.free] == ["turn"]
    np.testing.assert_allclose(np.abs(found.free[0].axis), [0.0, 0.0, 1.0], atol=0.01)
    assert pose_error(found.pose, truth, surface, found.free) < POSE_ERROR
    assert "does not fix a turn about the direction" in " ".join(found.sentences)
    assert found.inlier_share == pytest.approx(0.95, abs=0.02)  # 5 % are outliers
    assert found.residual_rms == pytest.approx(0.005 * surface.diameter, rel=0.1)
    assert found.pose.scale == 1.0
    assert found.alternatives == ()


@pytest.mark.exact
def test_a_part_that_is_wider_all_around_stays_in_the_middle():
    surface, noise, count = tube(around=120, length=60.0, along=31), 0.05, 3000
    places, triangle = surface.sampled(count)
    excess = 0.1 + np.random.default_rng(0).normal(0.0, noise, count)
    found = refined(STILL, places + excess[:, None] * surface.normals[triangle], SurfaceLocator(surface))
    middle = np.array([[0.0, 0.0, 30.0]])
    off = np.linalg.norm((found.pose.apply(middle) - middle)[0, :2])
    # Least squares of independent points: each coordinate has the standard deviation s √(2 / n).
    assert off < 3.0 * noise * np.sqrt(2.0 / count)


@pytest.mark.long
@pytest.mark.slow
def test_a_seam_fixes_the_turn():
    surface = seamed_balloon()
    scan, truth = invented_scan(surface, 5)
    found = align(scan, surface)
    assert found.free == ()
    assert pose_error(found.pose, truth, surface) < POSE_ERROR


@pytest.mark.slow
def test_a_tube_fits_either_way_up_and_its_slide_is_fixed_by_its_ends():
    surface = tube(around=120, length=80.0, along=41)
    scan, truth = invented_scan(surface, 6, holes=0.1)
    found = align(scan, surface)
    assert [(motion.kind, motion.fixed_by) for motion in found.free] == [
        ("slide", "the ends of the scan"),
        ("turn", ""),
    ]
    assert len(found.alternatives) == 1
    turn = found.free[1:]
    # The ends of the scan are known only to the distance of its points, which is 0.05 of the diameter.
    poses = (found.pose, *found.alternatives)
    assert min(pose_error(pose, truth, surface, turn) for pose in poses) < 0.02
    assert sum(pose_error(pose, truth, surface, found.free) < POSE_ERROR for pose in poses) == 1


@pytest.mark.slow
def test_named_points_fix_the_turn():
    surface = balloon()
    scan, truth = invented_scan(surface, 7, holes=0.0, outliers=0.0, count=2000)
    place = np.array([[15.0, 0.0, 42.0]])
    named = {"dot": (((place - truth.translation) @ truth.rotation)[0], place[0])}
    found = align(scan, surface, fiducials=named)
    assert [motion.fixed_by for motion in found.free] == ["the named point dot"]
    assert pose_error(found.pose, truth, surface) < POSE_ERROR
    pole = {"pole": (named["dot"][0], found.free[0].point)}
    with pytest.raises(InputError, match="lie on the axis of the free turn"):
        fixed_by_landmarks(found.pose, found.free, pole)


@pytest.mark.slow
def test_poses_that_look_alike_are_named_and_a_named_point_tells_them_apart():
    surface = ball(20.0, (1.0, 0.8, 0.6), fineness=4)
    scan, truth = invented_scan(surface, 1, holes=0.0, count=2000)
    found = align(scan, surface)
    assert len(found.alternatives) == 3  # half turns about the axes of an ellipsoid
    assert "3 other poses fit as well" in found.sentences[-1]
    poses = (found.pose, *found.alternatives)
    assert min(pose_error(pose, truth, surface) for pose in poses) < POSE_ERROR
    place = np.array([12.0, 8.0, 5.0])
    named = {"dot": ((place - truth.translation) @ truth.rotation, place)}
    marked = align(scan, surface, fiducials=named)
    assert marked.alternatives == ()
    assert pose_error(marked.pose, truth, surface) < POSE_ERROR
    assert marked.residuals["dot"] < POSE_ERROR * surface.diameter


@pytest.mark.slow
def test_named_points_or_the_ends_may_be_the_datum():
    surface = balloon()
    scan, truth = invented_scan(surface, 8, outliers=0.0, holes=0.0, count=2000)
    places = np.array([[4.0, 0.0, 0.0], [0.0, 15.0, 42.0], [-7.0, 0.0, 100.0], [0.0, -15.0, 42.0]])
    on_scan = (places - truth.translation) @ truth.rotation
    named = {str(i): (a, b) for i, (a, b) in enumerate(zip(on_scan, places, strict=True))}
    found = align(scan, surface, AlignmentSettings("points"), fiducials=named)
    assert pose_error(found.pose, truth, surface) < 1e-9
    assert max(found.residuals.values()) < 1e-6
    assert found.free == ()
    assert "datum targets" in found.sentences[0]
    # The belly of this scan is too wide; the ends are not.
    x = truth.apply(scan)
    x[:, :2] *= 1.0 + 0.2 * np.exp(-(((x[:, 2:] - 42.0) / 10.0) ** 2))
    found = align(x, surface, AlignmentSettings("ends"))
    assert pose_error(found.pose, STILL, surface, found.free) < 2 * POSE_ERROR
    assert "two ends" in found.sentences[0]


@pytest.mark.long
@pytest.mark.slow
def test_a_scale_is_fitted_only_if_it_is_asked_for():
    surface = ball(20.0, (1.0, 0.8, 0.6), fineness=4)
    scan = 1.03 * surface.sampled(2000, seed=3)[0]
    scan += np.random.default_rng(3).normal(0.0, 0.1, scan.shape)
    plain = align(scan, surface)
    assert plain.pose.scale == 1.0
    assert plain.residual_rms > 0.2
    scaled = align(scan, surface, AlignmentSettings(with_scale=True))
    assert scaled.pose.scale == pytest.approx(1.0 / 1.03, rel=1e-3)
    assert any("scale was asked for" in sentence for sentence in scaled.sentences)
    assert not any("scale" in sentence for sentence in plain.sentences)


@pytest.mark.parametrize(
    ("surface", "kinds"),
    [
        (ball(20.0, (1.0, 0.8, 0.6), fineness=4), []),
        (ball(20.0, (1.0, 0.6, 0.6), fineness=4), ["turn"]),
        (ball(20.0, fineness=5), ["turn", "turn", "turn"]),
        (tube(), ["slide", "turn"]),
    ],
)
def test_free_motions_are_those_of_the_shape(surface, kinds):
    fit = refined(STILL, surface.sampled(3000, seed=1)[0], SurfaceLocator(surface))
    free = separated(free_motions(fit), surface.centroid, surface.diameter)
    assert [motion.kind for motion in free] == kinds


def test_the_covariance_of_a_pose_is_that_of_repeated_scans():
    surface, noise = ball(20.0, (1.0, 0.8, 0.6), fineness=4), 0.1
    locator, rng = SurfaceLocator(surface), np.random.default_rng(9)
    motions, covariances = [], []
    for seed in range(60):
        scan = surface.sampled(500, seed=seed)[0] + rng.normal(0.0, noise, (500, 3))
        fit = refined(STILL, scan, locator, kept=1.0)
        covariances.append(pose_covariance(fit, surface))
        motions.append([*Rotation.from_matrix(fit.pose.rotation).as_rotvec(), *fit.pose.translation])
    # The mean of m' C^-1 m over poses is the number of their parameters; its deviation is sqrt(2 * 6 / 60).
    squared = np.einsum("ki,ij,kj->k", motions, np.linalg.inv(np.mean(covariances, axis=0)), motions)
    assert squared.mean() == pytest.approx(6.0, abs=3.0 * np.sqrt(12.0 / 60.0))


@pytest.mark.reference
def test_the_pose_agrees_with_an_independent_library():
    surface = ball(20.0, (1.0, 0.8, 0.6), fineness=6)
    motion = np.array([0.03, -0.02, 0.04, 0.5, -0.4, 0.3])
    clean = STILL.moved(motion, surface.centroid).apply(surface.sampled(5000, seed=1)[0])
    scan = clean + np.random.default_rng(2).normal(0.0, 0.05, clean.shape)
    target = small_gicp.PointCloud(surface.points)
    tree = small_gicp.KdTree(target)
    small_gicp.estimate_normals_covariances(target, tree, num_neighbors=12)
    reference = small_gicp.align(
        target, small_gicp.PointCloud(scan), tree, registration_type="PLANE_ICP", max_iterations=100,
        rotation_epsilon=1e-7, translation_epsilon=1e-6, max_correspondence_distance=3.0,
    )  # fmt: skip
    fit = refined(STILL, scan, SurfaceLocator(surface), kept=1.0)
    assert fit.converged
    other = Pose(reference.T_target_source[:3, :3], reference.T_target_source[:3, 3])
    assert apart(fit.pose, STILL, scan) > 0.5  # there was something to do
    assert apart(fit.pose, other, scan) < 1e-3 * surface.diameter


def test_a_motion_is_undone_by_its_reverse():
    rng = np.random.default_rng(0)
    x, centre, motion = rng.normal(size=(20, 3)), rng.normal(size=3), 1e-4 * rng.normal(size=6)
    moved = STILL.moved(motion, centre).apply(x) - x
    for axis in np.eye(3):
        rows = motion_matrix(x - centre, np.broadcast_to(axis, x.shape))
        np.testing.assert_allclose(rows @ motion, moved @ axis, atol=1e-7)
    pose = STILL.moved(motion, centre)
    np.testing.assert_allclose((pose.apply(x) - pose.translation) @ pose.rotation, x, atol=1e-12)


@pytest.mark.parametrize(
    ("points", "message"),
    [(np.zeros((2, 3)), "2 points were given"), (np.full((100, 3), np.nan), "finite coordinates")],
)
def test_too_few_points_are_refused(points, message):
    with pytest.raises(InputError, match=message):
        align(points, ball())


def test_settings_out_of_range_are_refused():
    with pytest.raises(InputError, match="is not one of surface, ends, points"):
        AlignmentSettings("middle")
    with pytest.raises(InputError, match=r"from 0\.5 to 1"):
        AlignmentSettings(kept=0.2)
