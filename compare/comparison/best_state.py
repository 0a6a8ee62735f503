# SPDX-License-Identifier: MIT
"""The state of a run that fits a scan best."""

import contextlib
from collections.abc import Sequence
from dataclasses import replace
from typing import NamedTuple

import numpy as np

from annelid.compare.alignment.align import align
from annelid.compare.alignment.coarse import thinned
from annelid.compare.alignment.fine import refined
from annelid.compare.alignment.poses import Pose
from annelid.compare.comparison.simulated_part import ComparisonSettings, SimulatedPart, part_in
from annelid.compare.comparison.states import StateChoice
from annelid.compare.scans.point_cloud import PointCloud
from annelid.compare.scans.units import scan_size
from annelid.geometry.body import FloatArray
from annelid.geometry.errors import InputError
from annelid.results.folder.run_record import RunRecord
from annelid.solver.display import digits

_QUICK, _FINAL = 800, 4000  # points
_STEPS = 12
_FINALISTS = 3
_MAD = 1.4826  # standard deviation of normal errors over their median absolute deviation
_CUT = 4.0  # standard deviations beyond which a distance counts no more
_PATCHES = 100
_SURE = 3.0  # standard deviations of the difference of two fits


class _Fit(NamedTuple):
    """A pose on the surface of a state, and the distances of points there, shape (n,), mm."""

    part: SimulatedPart
    pose: Pose
    distance: FloatArray


def best_part(
    run: RunRecord, choices: Sequence[StateChoice], scan: PointCloud, settings: ComparisonSettings
) -> SimulatedPart:
    """Return the surface of the state that fits a cleaned scan best, with how it was chosen.

    The scan is aligned with the state whose size is nearest to its own; from this pose, and from others that
    fit as well, it is fitted to the others. What is compared are the mean squared distances, cut off at four
    robust standard deviations of the best fit.

    Args:
        run: The run.
        choices: The states.
        scan: The cleaned scan.
        settings: How it is compared.

    Raises:
        InputError: The scan fits none of them.
    """
    parts = [part_in(run, choice, settings) for choice in choices]
    size = scan_size(scan)
    start = min(parts, key=lambda part: abs(np.log(part.size / size)))
    if len(parts) == 1:
        return start
    given = (scan.points, start.surface, settings.alignment)
    found = align(*given, fiducials=settings.fiducials, locator=start.locator)
    poses = (found.pose, *found.alternatives)
    quick, final = (thinned(scan.points, count, seed=3) for count in (_QUICK, _FINAL))
    tried = [_fitted(part, pose, quick) for part in parts for pose in poses]
    order = np.argsort(_losses(tried).mean(axis=1))
    # Of each state the better pose; the first ones are fitted again with more points.
    chosen = {tried[i].part.choice.text: tried[i] for i in order[::-1]}
    finalists = sorted(chosen.values(), key=lambda fit: float(np.median(fit.distance)))[:_FINALISTS]
    finalists = [_fitted(fit.part, fit.pose, final) for fit in finalists]
    losses = _losses(finalists)
    first, second = np.argsort(losses.mean(axis=1))[:2]
    best, other = finalists[first], finalists[second]
    patch = best.part.surface.patches(best.pose.apply(final), _PATCHES)
    sums = np.bincount(patch, losses[second] - losses[first])
    sure = float(sums.sum()) > _SURE * float(np.sqrt(((sums - sums.mean()) ** 2).sum()))
    return replace(best.part, choice=_said(best, other, len(parts), sure=sure))


def _fitted(part: SimulatedPart, pose: Pose, points: FloatArray) -> _Fit:
    with contextlib.suppress(InputError):  # too few points have a partner: the state is far from the scan
        pose = refined(pose, points, part.locator, most_steps=_STEPS).pose
    return _Fit(part, pose, np.abs(part.locator.closest(pose.apply(points)).signed))


def _losses(fits: Sequence[_Fit]) -> FloatArray:
    """Squared distances of the points in each fit, cut off, as share of the cut, shape (k, n)."""
    distance = np.array([fit.distance for fit in fits])
    cut = _CUT * _MAD * float(np.median(distance, axis=1).min())
    return np.asarray(np.minimum(distance / max(cut, 1e-12), 1.0) ** 2)


def _said(best: _Fit, other: _Fit, count: int, *, sure: bool) -> StateChoice:
    """The choice with sentences on the fit, on the runner-up and on how much worse this is."""
    show = best.part.run.units.show
    near, far = (float(np.median(fit.distance)) for fit in (best, other))
    fits = (
        f"Of {count} states {best.part.choice.text} fits the scan best: half of its points are within "
        f"{show('length', near, 3)} of the surface. The runner-up, {other.part.choice.text}, has "
        f"{show('length', far, 3)}, {digits(far / max(near, 1e-12), 3)} times as much."
    )
    doubts = [
        "The state was chosen because it fits best, so a difference that another state would show is hidden."
    ]
    if not sure:
        doubts.append(f"{other.part.choice.text[:1].upper()}{other.part.choice.text[1:]} fits as well.")
    choice = best.part.choice
    return replace(choice, remarks=(fits, *choice.remarks), doubts=(*doubts, *choice.doubts))
