# SPDX-License-Identifier: MIT
"""Alignment by named points that are known on the scan and on the surface."""

from collections.abc import Mapping
from typing import NamedTuple

import numpy as np

from annelid.compare.alignment.freedoms import FreeMotion
from annelid.compare.alignment.poses import Pose, motion_matrix
from annelid.geometry.body import FloatArray
from annelid.geometry.errors import InputError

type Fiducials = Mapping[str, tuple[FloatArray, FloatArray]]
"""Position on the scan and on the nominal part, each shape (3,), mm, by name."""


class LandmarkFit(NamedTuple):
    """A least-squares fit of named points.

    Attributes:
        pose: The pose.
        residuals: Distance left at each point by name, mm.
        deviation: Standard deviation of one coordinate of one point, mm; ``nan`` if no point is redundant.
        covariance: Of a motion about ``centre``: rotation vector (rad) and shift (mm), shape (6, 6).
        centre: Mean of the nominal points, shape (3,), mm.
    """

    pose: Pose
    residuals: Mapping[str, float]
    deviation: float
    covariance: FloatArray
    centre: FloatArray


def fit_landmarks(fiducials: Fiducials, *, with_scale: bool = False) -> LandmarkFit:
    """Fit named points by least squares (Umeyama 1991, IEEE Trans. Pattern Anal. 13:376, from memory).

    Raises:
        InputError: There are fewer than three points, or they lie on one line.
    """
    if len(fiducials) < 3:
        raise InputError(f"fiducials: {len(fiducials)} named points are given; at least 3 are needed.")
    x, y = (np.array([pair[i] for pair in fiducials.values()], dtype=float) for i in (0, 1))
    x0, y0 = x.mean(axis=0), y.mean(axis=0)
    if np.linalg.svd(y - y0)[1][1] < 1e-6 * np.abs(y - y0).max():
        raise InputError("fiducials: the named points lie on one line; give one beside it.")
    u, spread, v = np.linalg.svd((y - y0).T @ (x - x0))
    signs = np.array([1.0, 1.0, np.linalg.det(u @ v)])
    rotation = (u * signs) @ v
    scale = float((spread * signs).sum() / ((x - x0) ** 2).sum()) if with_scale else 1.0
    pose = Pose(rotation, y0 - scale * rotation @ x0, scale)
    error = pose.apply(x) - y
    redundant = 3 * len(x) - 6 - with_scale
    deviation = float(np.sqrt((error**2).sum() / redundant)) if redundant else float("nan")
    axes = np.broadcast_to(np.eye(3)[:, None], (3, len(x), 3))
    rows = np.concatenate([motion_matrix(y - y0, axis) for axis in axes])
    residuals = dict(zip(fiducials, np.linalg.norm(error, axis=1).tolist(), strict=True))
    return LandmarkFit(pose, residuals, deviation, deviation**2 * np.linalg.inv(rows.T @ rows), y0)


def fixed_by_landmarks(
    pose: Pose, motions: tuple[FreeMotion, ...], fiducials: Fiducials
) -> tuple[Pose, tuple[FreeMotion, ...]]:
    """Fix motions that the surface leaves free so that named points fit best.

    Raises:
        InputError: All points lie on the axis of a free turn.
    """
    named = ", ".join(fiducials)
    x, y = (np.array([pair[i] for pair in fiducials.values()], dtype=float) for i in (0, 1))
    for motion in motions:
        off = y - motion.point
        if motion.kind == "turn" and np.linalg.norm(np.cross(off, motion.axis), axis=1).max() < 1e-9:
            raise InputError(f"fiducials {named}: lie on the axis of the free turn; give one beside it.")
        amount = motion.best_amount(pose.apply(x), y)
        moved = motion.moved(pose, np.array([amount]))
        pose = Pose(moved.rotation[0], moved.translation[0], pose.scale)
    fixed_by = f"the named points {named}" if len(fiducials) > 1 else f"the named point {named}"
    return pose, tuple(motion._replace(fixed_by=fixed_by) for motion in motions)
