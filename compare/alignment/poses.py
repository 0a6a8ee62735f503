# SPDX-License-Identifier: MIT
"""Poses of a scan and the small motions between them."""

from typing import NamedTuple

import numpy as np
from scipy.spatial.transform import Rotation

from annelid.geometry.body import FloatArray, IntArray


class Pose(NamedTuple):
    """The motion x → s R x + t, or several of them.

    Attributes:
        rotation: R, shape (..., 3, 3).
        translation: t, shape (..., 3), mm.
        scale: s, 1 unless a scale was asked for.
    """

    rotation: FloatArray
    translation: FloatArray
    scale: float = 1.0

    def apply(self, points: FloatArray) -> FloatArray:
        """Return the moved points, shape (..., n, 3), of points, shape (n, 3), mm."""
        turned = self.scale * (points @ np.swapaxes(self.rotation, -1, -2))
        return np.asarray(turned + self.translation[..., None, :])

    @property
    def turn(self) -> tuple[float, FloatArray]:
        """Angle (degrees) and unit axis, shape (3,), of the rotation of one pose."""
        vector = Rotation.from_matrix(self.rotation).as_rotvec()
        angle = float(np.linalg.norm(vector))
        return float(np.degrees(angle)), vector / angle if angle > 0.0 else np.array([0.0, 0.0, 1.0])

    def since(self, before: "Pose") -> "Pose":
        """Return the motion that takes points from another pose to this one."""
        turn, growth = self.rotation @ before.rotation.T, self.scale / before.scale
        return Pose(turn, self.translation - growth * turn @ before.translation, growth)

    def moved(self, motion: FloatArray, centre: FloatArray) -> "Pose":
        """Add a motion about a centre.

        Args:
            motion: Rotation vector (rad), shift (mm) and perhaps the logarithm of the growth, shape
                (..., 6 or 7).
            centre: Shape (3,), mm.
        """
        lead = motion.shape[:-1]
        turn = Rotation.from_rotvec(motion[..., :3].reshape(-1, 3)).as_matrix().reshape(*lead, 3, 3)
        growth = float(np.exp(motion[6])) if motion.shape[-1] == 7 else 1.0
        arm = growth * np.einsum("...ij,...j->...i", turn, self.translation - centre)
        return Pose(turn @ self.rotation, centre + arm + motion[..., 3:6], self.scale * growth)


def picked(poses: Pose, which: int | IntArray) -> Pose:
    """Return one or some of several poses."""
    return Pose(poses.rotation[which], poses.translation[which], poses.scale)


def joined(poses: list[Pose]) -> Pose:
    """Return several groups of poses as one."""
    rotation = np.concatenate([pose.rotation for pose in poses])
    return Pose(rotation, np.concatenate([pose.translation for pose in poses]))


def motion_matrix(points: FloatArray, directions: FloatArray) -> FloatArray:
    """Return the rows of the linear map from a motion to the movement of points along directions.

    Args:
        points: Positions relative to the centre of the motion, shape (..., 3), mm.
        directions: Unit vectors, shape (..., 3).

    Returns:
        Shape (..., 6), for rotation vector and shift.
    """
    return np.concatenate([np.cross(points, directions), directions], axis=-1)


def mean_square_motion(points: FloatArray, weight: FloatArray | None = None) -> FloatArray:
    """Return the matrix of the mean squared movement of points, shape (n, 3), in a motion, shape (6, 6)."""
    weight = np.ones(len(points)) if weight is None else weight
    rows = np.stack([motion_matrix(points, np.broadcast_to(axis, points.shape)) for axis in np.eye(3)])
    return np.asarray(np.einsum("dni,n,dnj->ij", rows, weight, rows, optimize=True) / weight.sum())
