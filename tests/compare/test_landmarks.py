# SPDX-License-Identifier: MIT
"""Fits of named points against the theory of registration errors."""

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from annelid.compare.alignment.landmarks import fit_landmarks
from annelid.compare.alignment.poses import motion_matrix
from annelid.geometry.errors import InputError

POINTS = np.array([[30.0, 0, 0], [-20, 25, 0], [0, -30, 40], [10, 10, -35], [-15, -5, 20]])
TARGET = np.array([40.0, 30.0, 10.0])
NOISE = 0.3


def named(scan, nominal=POINTS):
    return {f"P{i}": (a, b) for i, (a, b) in enumerate(zip(scan, nominal, strict=True))}


@pytest.mark.exact
def test_errors_of_named_points_are_those_of_theory():
    # Fitzpatrick, West and Maurer 1998, IEEE Trans. Med. Imaging 17:694 (from memory): with isotropic noise
    # FLE² = 3 s², <FRE²> = (1 - 2/N) FLE² and <TRE²> = FLE²/N (1 + 1/3 sum d_k²/f_k²). There d_k is the
    # distance of the target, and f_k the root mean square distance of the points, from principal axis k.
    count, fle = len(POINTS), 3.0 * NOISE**2
    off = POINTS - POINTS.mean(axis=0)
    axes = np.linalg.svd(off)[2]
    f = np.array([(np.linalg.norm(np.cross(off, axis), axis=1) ** 2).mean() for axis in axes])
    d = np.array([np.linalg.norm(np.cross(TARGET - POINTS.mean(axis=0), axis)) ** 2 for axis in axes])
    rng = np.random.default_rng(0)
    fre, tre, predicted = [], [], []
    for _ in range(4000):
        fitted = fit_landmarks(named(POINTS + rng.normal(0.0, NOISE, POINTS.shape)))
        fre.append(np.mean(np.square(list(fitted.residuals.values()))))
        tre.append(((fitted.pose.apply(TARGET[None]) - TARGET) ** 2).sum())
        arm = np.broadcast_to(TARGET - fitted.centre, (3, 3))
        rows = motion_matrix(arm, np.eye(3))
        predicted.append(np.trace(rows @ fitted.covariance @ rows.T))
    theory = fle / count * (1.0 + (d / f).sum() / 3.0)
    assert np.mean(fre) == pytest.approx((1.0 - 2.0 / count) * fle, rel=0.02)
    assert np.mean(tre) == pytest.approx(theory, rel=0.04)  # 4000 trials
    assert np.mean(predicted) == pytest.approx(theory, rel=0.02)


@pytest.mark.exact
def test_exact_points_give_the_exact_pose_and_scale():
    turn = Rotation.from_euler("xyz", [100.0, -70.0, 160.0], degrees=True).as_matrix()
    scan = (POINTS @ turn + [5.0, -200.0, 30.0]) / 1.25
    fitted = fit_landmarks(named(scan), with_scale=True)
    assert fitted.pose.scale == pytest.approx(1.25)
    np.testing.assert_allclose(fitted.pose.rotation, turn, atol=1e-12)
    np.testing.assert_allclose(fitted.pose.apply(scan), POINTS, atol=1e-10)
    assert fit_landmarks(named(scan)).pose.scale == 1.0


def test_three_points_leave_few_residuals_and_two_or_a_line_are_refused():
    assert np.isfinite(fit_landmarks(named(POINTS[:3], POINTS[:3])).deviation)
    with pytest.raises(InputError, match="at least 3 are needed"):
        fit_landmarks(named(POINTS[:2], POINTS[:2]))
    line = np.outer(np.arange(4.0), [1.0, 2.0, 3.0])
    with pytest.raises(InputError, match="lie on one line"):
        fit_landmarks(named(line, line))
