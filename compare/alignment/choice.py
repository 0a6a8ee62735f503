# SPDX-License-Identifier: MIT
"""Choice between poses: the best ones of a search, and those that fit as well as the best."""

import numpy as np

from annelid.compare.alignment.closest import SurfaceLocator
from annelid.compare.alignment.coarse import PoseSearch, thinned
from annelid.compare.alignment.fine import Fit, refined
from annelid.compare.alignment.freedoms import FreeMotion
from annelid.compare.alignment.poses import Pose, joined, picked
from annelid.compare.alignment.surface import NominalSurface
from annelid.geometry.body import FloatArray

_QUICK = 1500  # points of the scan in fits that choose between poses
_CANDIDATES = 4
_DISTINCT = 0.03  # root mean square distance between poses that are not the same, of the diameter
_SIGNIFICANT = 3.0  # standard deviations of a paired difference
_MORE_BEYOND = 0.05  # share of the points that a pose as good may have beyond open edges in addition
_CUT = 4.0  # standard deviations beyond which a distance counts no more


def candidates(
    points: FloatArray, surface: NominalSurface, locator: SurfaceLocator, *, kept: float
) -> tuple[list[Fit], FloatArray]:
    """Search for poses and return quick fits from the best that differ, the best first, and their points.

    Args:
        points: Points of the scan in any pose, shape (n, 3), mm.
        surface: The surface.
        locator: The same surface.
        kept: Share of the points with the smallest distances that takes part.
    """
    search = PoseSearch(surface)
    few, quick = thinned(points), thinned(points, _QUICK, seed=1)
    poses = search.improved(search.starts(few), few)
    poses = joined([search.swept(pose, quick) for pose in _best(search, poses, few, search.loose_motions)])
    fits = [
        refined(pose, quick, locator, kept=kept, most_steps=10)
        for pose in _best(search, poses, quick, search.featureless)
    ]
    losses = _losses([fit.pose for fit in fits], quick, locator, min(fit.deviation for fit in fits))
    return [fits[i] for i in np.argsort(losses.mean(axis=1))], quick


def as_good(
    pose: Pose,
    others: list[Pose],
    points: FloatArray,
    locator: SurfaceLocator,
    *,
    deviation: float,
    free: tuple[FreeMotion, ...],
) -> tuple[Pose, ...]:
    """Return those of other poses that differ from a pose but fit as well.

    The cut-off squared distances of the same points are compared in pairs; poses whose mean difference is
    within three of its standard deviations cannot be distinguished.

    Args:
        pose: The pose.
        others: The other poses.
        points: Points of the scan, shape (n, 3), mm.
        locator: The surface.
        deviation: Standard deviation of the distances in the pose, mm.
        free: Motions in which poses may differ without being different.
    """
    quick = thinned(points, 2 * _QUICK, seed=2)
    losses = _losses([pose, *others], quick, locator, deviation)
    beyond = np.array([locator.closest(place.apply(quick)).beyond for place in (pose, *others)])
    slides = any(motion.kind == "slide" for motion in free)
    limit, found = _DISTINCT * locator.surface.diameter, [pose]
    for other, loss, off in zip(others, losses[1:], beyond[1:], strict=True):
        # A free slide moves points beyond an edge or back.
        counted = ~(off | beyond[0]) if slides else np.ones(len(quick), dtype=bool)
        difference = (loss - losses[0])[counted]
        alike = difference.mean() <= _SIGNIFICANT * difference.std() / np.sqrt(counted.sum())
        alike &= off.mean() < beyond[0].mean() + _MORE_BEYOND
        if alike and all(apart(other, known, quick, free) > limit for known in found):
            found.append(other)
    return tuple(found[1:])


def apart(pose: Pose, other: Pose, points: FloatArray, free: tuple[FreeMotion, ...] = ()) -> float:
    """Return the root mean square distance of the points in two poses, mm, up to free motions."""
    if sum(motion.kind == "turn" for motion in free) > 1:
        return 0.0  # a sphere
    x, y = pose.apply(points), other.apply(points)
    for motion in free:
        amount = motion.best_amount(y, x)
        y = motion.moved(Pose(np.eye(3), np.zeros(3)), np.array([amount])).apply(y)[0]
    return float(np.sqrt(((x - y) ** 2).sum(axis=1).mean()))


def _best(search: PoseSearch, poses: Pose, points: FloatArray, free: tuple[FreeMotion, ...]) -> list[Pose]:
    """The best few poses that differ, but for free motions."""
    chosen: list[Pose] = []
    limit = _DISTINCT * search.surface.diameter
    for i in search.scores(poses, points).argsort():
        pose = picked(poses, int(i))
        if all(apart(pose, other, points, free) > limit for other in chosen):
            chosen.append(pose)
        if len(chosen) == _CANDIDATES:
            break
    return chosen


def _losses(poses: list[Pose], points: FloatArray, locator: SurfaceLocator, deviation: float) -> FloatArray:
    """Squared distances of the points in each pose, cut off, as share of the cut, shape (k, n)."""
    distances = np.abs([locator.closest(pose.apply(points)).signed for pose in poses])
    return np.asarray(np.minimum(distances / (_CUT * deviation), 1.0) ** 2)
