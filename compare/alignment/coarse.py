# SPDX-License-Identifier: MIT
"""Search for poses from which a fine alignment can start, whatever the pose of the scan."""

from functools import cached_property

import numpy as np
from scipy.linalg import eigh
from scipy.spatial import cKDTree
from scipy.spatial.transform import Rotation

from annelid.compare.alignment.freedoms import FreeMotion, separated
from annelid.compare.alignment.poses import Pose, mean_square_motion, motion_matrix, picked
from annelid.compare.alignment.surface import NominalSurface
from annelid.geometry.body import FloatArray, IntArray

_OF_THE_SCAN, _OF_THE_SURFACE = 400, 20_000  # points used
_OF_WIDE_STEPS = 10  # every which sample is searched while the kernel is wide
_WIDE = (
    0.1  # scale of the kernel from which it is wide, of the diameter: more than a spacing of these samples
)
_LEAF = 32  # samples in a leaf of the search: a quarter faster than with the usual 16 (measured)
_STEPS = 25
_WIDEST, _NARROWEST = 0.3, 0.02  # scale of the Cauchy kernel, of the diameter
_NEGLIGIBLE = 4.0  # scales of the kernel beyond which points are left out
_INEXACT = 0.05  # share by which the sample that is found may be farther than the nearest
_TANGENTIAL = 0.1  # weight of a distance along the surface beside one along the normal
_LOOSE = 0.03  # squared part of the movement along the normals
_REWEIGHTED = 10  # times
_FEATURELESS = 5e-4  # the same: below, only the facets of a surface of revolution fix a turn
_PLACES, _BEST_PLACES = 180, 8  # of a sweep
_FAR_OFF = 3.5  # Mahalanobis distance beyond which a point does not count for the axes of the scan


class PoseSearch:
    """Search for poses on one surface."""

    def __init__(self, surface: NominalSurface) -> None:
        self.surface = surface
        self._samples, triangle = surface.sampled(_OF_THE_SURFACE)
        self._normals = surface.normals[triangle]
        self._tree = cKDTree(self._samples, leafsize=_LEAF)
        self._wide_tree = cKDTree(self._samples[::_OF_WIDE_STEPS], leafsize=_LEAF)

    def starts(self, points: FloatArray) -> Pose:
        """Return 60 starting poses, of which one is near any pose.

        The principal axes of the scan are aligned with those of the surface and then turned by the rotations
        of the icosahedron. These contain the four choices of the signs, and no rotation is farther than 45°
        from one of them, so it does not matter whether axes are nearly alike or bent by holes in the scan.
        """
        centre, axes = _principal_axes(points)
        turns = Rotation.create_group("I").as_matrix()
        rotation = self.surface.principal[1] @ turns @ axes.T
        return Pose(rotation, self.surface.centroid - rotation @ centre)

    def improved(self, poses: Pose, points: FloatArray, *, widest: float = _WIDEST) -> Pose:
        """Improve all poses at once by iterated closest points with a Cauchy kernel that narrows.

        Args:
            poses: Poses, k of them.
            points: Points of the scan, shape (n, 3), mm; a few hundred are enough.
            widest: Scale of the kernel at the beginning, as share of the diameter.
        """
        centre = self.surface.centroid
        for scale in np.geomspace(widest, _NARROWEST, _STEPS) * self.surface.diameter:
            x = poses.apply(points)
            wide = scale > _WIDE * self.surface.diameter
            distance, nearest = self._nearest(x, _NEGLIGIBLE * scale, wide=wide)
            weight = np.where(np.isfinite(distance), 1.0 / (1.0 + (distance / scale) ** 2), 0.0)
            error = self._samples[nearest] - x
            poses = poses.moved(_step(x - centre, error, self._normals[nearest], weight), centre)
        return poses

    @cached_property
    def loose_motions(self) -> tuple[FreeMotion, ...]:
        """Motions that the shape fixes weakly or not at all."""
        arm = self._samples - self.surface.centroid
        rows, movement = motion_matrix(arm, self._normals), mean_square_motion(arm)
        fixed, motions = eigh(rows.T @ rows / len(rows), movement)
        count = int((fixed < _LOOSE).sum())
        for _ in range(_REWEIGHTED if count else 0):
            # The axis is that of the smooth part; features such as a seam would shift it.
            along = ((rows @ motions[:, :count]) ** 2).sum(axis=1)
            weight = 1.0 / (1.0 + (along / (4.0 * np.median(along) + 1e-12)) ** 2)
            motions = eigh(rows.T @ (weight[:, None] * rows) / weight.sum(), movement)[1]
        return separated(motions[:, :count], self.surface.centroid, self.surface.diameter)

    @cached_property
    def featureless(self) -> tuple[FreeMotion, ...]:
        """Those of the loose motions that the shape does not fix at all."""
        return tuple(motion for motion in self.loose_motions if self._fixed(motion) < _FEATURELESS)

    @cached_property
    def _swept_motions(self) -> tuple[FreeMotion, ...]:
        # Slides are fixed by the ends if by nothing else. Turns of nearly a sphere are left to the starts.
        if sum(motion.kind == "turn" for motion in self.loose_motions) > 1:
            return ()
        return tuple(m for m in self.loose_motions if m.kind == "slide" or self._fixed(m) >= _FEATURELESS)

    def _fixed(self, motion: FreeMotion) -> float:
        movement = np.cross(motion.axis, self._samples - motion.point)
        if motion.kind == "slide":
            movement = np.broadcast_to(motion.axis, self._samples.shape)
        along = np.einsum("ni,ni->n", movement, self._normals)
        return float((along**2).mean() / (movement**2).sum(axis=1).mean())

    def swept(self, pose: Pose, points: FloatArray) -> Pose:
        """Sweep a pose along loose motions, on which the improvement may stop, and return the best, improved.

        A slide is tried over the whole length of the surface, then a turn that features fix over a circle.

        Args:
            pose: One pose.
            points: Points of the scan, shape (n, 3), mm.
        """
        tried = Pose(pose.rotation[None], pose.translation[None])
        for motion in self._swept_motions:
            span = np.pi if motion.kind == "turn" else 0.5 * self.surface.principal[0][0]
            tried = motion.moved(pose, np.linspace(-span, span, _PLACES, endpoint=False))
            scores = self.scores(tried, points)
            lowest = np.flatnonzero((scores <= np.roll(scores, 1)) & (scores <= np.roll(scores, -1)))
            tried = picked(tried, lowest[scores[lowest].argsort()[:_BEST_PLACES]])
            pose = picked(tried, 0)
        if not self._swept_motions:
            return tried
        return self.improved(tried, thinned(points), widest=2.0 * _NARROWEST)

    def scores(self, poses: Pose, points: FloatArray, *, width: float = 2.0 * _NARROWEST) -> FloatArray:
        """Return the mean squared distances, those beyond a width cut off, as share of this, shape (k,).

        Args:
            poses: Poses, k of them.
            points: Points of the scan, shape (n, 3), mm.
            width: As share of the diameter.
        """
        x = poses.apply(points)
        limit = width * self.surface.diameter
        distance, nearest = self._nearest(x, limit)
        along = np.abs(np.einsum("kni,kni->kn", x - self._samples[nearest], self._normals[nearest]))
        spacing = np.sqrt(self.surface.areas.sum() / _OF_THE_SURFACE)
        off = np.where(distance < 2.0 * spacing, along, distance)
        return np.asarray((np.minimum(off / limit, 1.0) ** 2).mean(axis=1))

    def _nearest(self, x: FloatArray, limit: float, *, wide: bool = False) -> tuple[FloatArray, IntArray]:
        """Distance (infinite beyond a limit) and number of the nearest sample of points, shape (k, n, 3)."""
        tree, every = (self._wide_tree, _OF_WIDE_STEPS) if wide else (self._tree, 1)
        distance, nearest = tree.query(x.reshape(-1, 3), eps=_INEXACT, distance_upper_bound=limit)
        nearest = every * np.minimum(nearest, tree.n - 1)
        return distance.reshape(x.shape[:2]), nearest.reshape(x.shape[:2])


def thinned(points: FloatArray, count: int = _OF_THE_SCAN, *, seed: int = 0) -> FloatArray:
    """Return a random choice of at most ``count`` points."""
    if len(points) <= count:
        return points
    return points[np.random.default_rng(seed).choice(len(points), count, replace=False)]


def _step(x: FloatArray, error: FloatArray, normal: FloatArray, weight: FloatArray) -> FloatArray:
    """Motions of k poses that reduce the errors, mostly along the normals."""
    rows, size = motion_matrix(x, normal), np.einsum("kni,kni->kn", error, normal)
    weighted = weight[..., None] * rows
    matrix = np.swapaxes(weighted, 1, 2) @ rows
    right = np.einsum("kni,kn->ki", weighted, size)
    # Sums over the three directions of space, each with the same weight, in closed form.
    share = _TANGENTIAL * weight
    middle = np.einsum("kn,kni->ki", share, x)
    spread = np.swapaxes(share[..., None] * x, 1, 2) @ x
    whole = np.trace(spread, axis1=1, axis2=2)[:, None, None]
    skew = np.cross(middle[:, None], np.eye(3)).swapaxes(1, 2)
    matrix[:, :3, :3] += whole * np.eye(3) - spread
    matrix[:, :3, 3:] += skew
    matrix[:, 3:, :3] += skew.swapaxes(1, 2)
    matrix[:, 3:, 3:] += share.sum(axis=1)[:, None, None] * np.eye(3)
    right[:, :3] += np.einsum("kn,kni->ki", share, np.cross(x, error))
    right[:, 3:] += np.einsum("kn,kni->ki", share, error)
    # A pose from which no point is near the surface gets no step.
    return np.asarray((np.linalg.pinv(matrix, hermitian=True) @ right[..., None])[..., 0])


def _principal_axes(points: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Centre and principal axes (columns, the longest first) of a scan without far-off points."""
    kept = points
    for _ in range(5):
        centre, spread = kept.mean(axis=0), np.cov(kept.T)
        off = points - centre
        squared = np.einsum("ni,ni->n", off @ np.linalg.pinv(spread), off)
        kept = points[squared < _FAR_OFF**2]
    axes = np.linalg.eigh(spread)[1][:, ::-1]
    return centre, axes * [1.0, 1.0, np.linalg.det(axes)]
