# SPDX-License-Identifier: MIT
"""Motions that a surface does not fix: turns about an axis and slides along a line."""

from typing import NamedTuple

import numpy as np

from annelid.compare.alignment.poses import Pose
from annelid.geometry.body import FloatArray

_TURNS = 0.1  # a motion of unit movement that turns less than this, times the size, is a slide


class FreeMotion(NamedTuple):
    """A motion of the scan on the surface.

    Attributes:
        kind: ``"turn"`` or ``"slide"``.
        axis: Unit direction, shape (3,).
        point: A point of the axis, shape (3,), mm.
        fixed_by: What fixes it in place of the shape; "" if nothing does.
    """

    kind: str
    axis: FloatArray
    point: FloatArray
    fixed_by: str = ""

    def moved(self, pose: Pose, amounts: FloatArray) -> Pose:
        """Return the pose turned by angles (rad) or slid by lengths (mm), shape (k,), as k poses."""
        if self.kind == "slide":
            motion = np.concatenate([np.zeros((len(amounts), 3)), amounts[:, None] * self.axis], axis=1)
        else:
            motion = np.concatenate([amounts[:, None] * self.axis, np.zeros((len(amounts), 3))], axis=1)
        return pose.moved(motion, self.point)

    def best_amount(self, points: FloatArray, wanted: FloatArray) -> float:
        """Return the angle (rad) or length (mm) that brings points nearest to others by least squares.

        Args:
            points: Shape (n, 3), mm.
            wanted: Where they should be, shape (n, 3), mm.
        """
        if self.kind == "slide":
            return float(((wanted - points) @ self.axis).mean())
        off, goal = points - self.point, wanted - self.point
        across = goal - np.outer(goal @ self.axis, self.axis)
        return float(np.arctan2((np.cross(off, across) @ self.axis).sum(), (off * across).sum()))

    def sentence(self) -> str:
        """Say what it is and what fixes it."""
        x, y, z = np.round(self.axis, 3) + 0.0  # no negative zero
        what = "a turn about" if self.kind == "turn" else "a slide along"
        fixed = f"it is fixed by {self.fixed_by}" if self.fixed_by else "nothing else fixes it"
        return f"The surface does not fix {what} the direction ({x:.3f}, {y:.3f}, {z:.3f}); {fixed}."


def separated(motions: FloatArray, centre: FloatArray, size: float) -> tuple[FreeMotion, ...]:
    """Separate a space of motions into slides, first, and turns.

    Args:
        motions: Motions about the centre as columns (rad and mm), shape (6, f).
        centre: Shape (3,), mm.
        size: Length by which a turn is compared with a slide, mm.
    """
    if not motions.shape[1]:
        return ()
    # Both parts are lengths now; the combinations that turn least come last.
    scaled = motions / np.linalg.norm(motions * np.repeat([size, 1.0], 3)[:, None], axis=0)
    _, turning, mixed = np.linalg.svd(scaled[:3] * size, full_matrices=True)
    turning = np.pad(turning, (0, max(0, len(mixed) - len(turning))))
    pure = scaled @ mixed.T
    slides = [pure[3:, i] / np.linalg.norm(pure[3:, i]) for i in np.flatnonzero(turning < _TURNS)]
    found = [FreeMotion("slide", axis, centre) for axis in slides]
    for i in np.flatnonzero(turning >= _TURNS):
        turn, shift = pure[:3, i], pure[3:, i]
        point = centre + np.cross(turn, shift) / (turn @ turn)
        found.append(FreeMotion("turn", turn / np.linalg.norm(turn), point))
    return tuple(motion._replace(axis=_upward(motion.axis)) for motion in found)


def _upward(axis: FloatArray) -> FloatArray:
    return axis * np.sign(axis[np.abs(axis).argmax()])
