# SPDX-License-Identifier: MIT
"""Rigid alignment of a scan with the simulated surface from any pose."""

import numpy as np

from annelid.compare.alignment.choice import as_good, candidates
from annelid.compare.alignment.closest import SurfaceLocator
from annelid.compare.alignment.coarse import thinned
from annelid.compare.alignment.ends import fixed_by_ends
from annelid.compare.alignment.fine import Fit, Where, free_motions, refined
from annelid.compare.alignment.freedoms import FreeMotion, separated
from annelid.compare.alignment.landmarks import Fiducials, fit_landmarks, fixed_by_landmarks
from annelid.compare.alignment.pose_certainty import pose_covariance
from annelid.compare.alignment.poses import Pose
from annelid.compare.alignment.records import Alignment, AlignmentSettings
from annelid.compare.alignment.surface import BoolArray, NominalSurface
from annelid.geometry.body import FloatArray
from annelid.geometry.errors import InputError

_FINE = 10_000  # points of the scan in the final fit
_FEWEST = 50
_END_SHARE = 0.1  # of the length, at each end
_INLIER = 3.0  # robust standard deviations
_DATUMS = {
    "surface": "the whole {name}, aligned by robust least squares of the distances along its normals",
    "ends": "the two ends of the {name} as a common datum, a tenth of the length each",
    "points": "the named points {points} as datum targets, aligned by least squares",
}


def align(
    points: FloatArray,
    surface: NominalSurface,
    settings: AlignmentSettings | None = None,
    *,
    fiducials: Fiducials | None = None,
    locator: SurfaceLocator | None = None,
) -> Alignment:
    """Align a scan with a surface.

    Sixty starts around the principal axes are improved together with a Cauchy kernel, the best are swept
    along motions that the shape hardly fixes, and the best of these are fitted with the exact distances.

    Args:
        points: Points of the scan in any pose, shape (n, 3), mm.
        surface: The surface.
        settings: How to align; by default to the whole surface.
        fiducials: Named points. They fix motions that the surface leaves free, or all if they are the datum.
        locator: The search on the surface, if there is one already.

    Raises:
        InputError: There are too few points, or points on the surface, or named points.
    """
    settings, fiducials = settings or AlignmentSettings(), fiducials or {}
    _check_points(points)
    locator, chosen = locator or SurfaceLocator(surface), thinned(points, _FINE, seed=settings.seed)
    datum = _DATUMS[settings.datum].format(name=surface.name, points=", ".join(fiducials))
    sentences = [f"Datum system in the sense of ISO 5459: {datum}."]
    if settings.datum == "points":
        return _by_points(chosen, locator, settings, fiducials, sentences)
    fits, quick = candidates(chosen, surface, locator, kept=settings.kept)
    places = [_fixed(fit, quick, surface, fiducials)[0] for fit in fits]
    start = places[0]
    if fiducials:
        free = _free(fits[0], surface)
        alike = as_good(start, places[1:], quick, locator, deviation=fits[0].deviation, free=free)
        start = min((start, *alike), key=lambda pose: sum(_misfits(pose, fiducials).values()))
    fit = _refined(start, chosen, locator, settings)
    pose, free, remarks = _fixed(fit, chosen, surface, fiducials)
    alternatives: tuple[Pose, ...] = ()
    if not fiducials:
        alike = as_good(pose, places[1:], chosen, locator, deviation=fit.deviation, free=free)
        fits = [_refined(other, chosen, locator, settings) for other in alike]
        alternatives = tuple(_fixed(other, chosen, surface, {})[0] for other in fits)
    sentences += [*(m.sentence() for m in free), *remarks, *_cautions(fit, settings, len(alternatives))]
    return Alignment(
        pose,
        *_inliers(fit.residual, fit.partner, fit.deviation),
        pose_covariance(fit, surface),
        surface.centroid,
        free,
        alternatives,
        _misfits(pose, fiducials),
        tuple(sentences),
    )


def _check_points(points: FloatArray) -> None:
    if len(points) < _FEWEST or not np.isfinite(points).all():
        raise InputError(
            f"alignment: {len(points)} points were given; {_FEWEST} with finite coordinates are needed."
        )


def _refined(start: Pose, points: FloatArray, locator: SurfaceLocator, settings: AlignmentSettings) -> Fit:
    where = _near_ends(locator.surface) if settings.datum == "ends" else None
    return refined(start, points, locator, kept=settings.kept, with_scale=settings.with_scale, where=where)


def _by_points(
    points: FloatArray,
    locator: SurfaceLocator,
    settings: AlignmentSettings,
    fiducials: Fiducials,
    sentences: list[str],
) -> Alignment:
    fitted = fit_landmarks(fiducials, with_scale=settings.with_scale)
    closest = locator.closest(fitted.pose.apply(points))
    size = np.abs(closest.signed[~closest.beyond])
    deviation = 1.4826 * float(np.median(size)) if len(size) else 0.0
    if settings.with_scale:
        sentences.append(_scale_sentence(fitted.pose))
    if not np.isfinite(fitted.deviation):
        sentences.append("With three named points no residual shows how well they fit.")
    return Alignment(
        fitted.pose,
        *_inliers(closest.signed, ~closest.beyond, deviation),
        fitted.covariance,
        fitted.centre,
        (),
        (),
        fitted.residuals,
        tuple(sentences),
    )


def _fixed(
    fit: Fit, points: FloatArray, surface: NominalSurface, fiducials: Fiducials
) -> tuple[Pose, tuple[FreeMotion, ...], list[str]]:
    """Fix the motions that the surface leaves free as far as possible."""
    free = _free(fit, surface)
    if free and fiducials:
        pose, free = fixed_by_landmarks(fit.pose, free, fiducials)
        return pose, free, []
    pose, remarks, found = fit.pose, [], []
    for motion in free:
        if motion.kind == "slide":
            pose, motion, remark = fixed_by_ends(fit, points, surface, motion)
            remarks += [remark] if remark else []
        found.append(motion)
    return pose, tuple(found), remarks


def _free(fit: Fit, surface: NominalSurface) -> tuple[FreeMotion, ...]:
    return separated(free_motions(fit), surface.centroid, surface.diameter)


def _misfits(pose: Pose, fiducials: Fiducials) -> dict[str, float]:
    """Distances left at named points, mm."""
    pairs = fiducials.items()
    return {name: float(np.linalg.norm(pose.apply(x[None])[0] - y)) for name, (x, y) in pairs}


def _near_ends(surface: NominalSurface) -> Where:
    """Whether points are within the ends of the surface along its longest principal axis."""
    axis = surface.principal[1][:, 0]
    along = surface.points @ axis
    low, high = along.min(), along.max()
    share = _END_SHARE * (high - low)

    def where(points: FloatArray) -> BoolArray:
        height = points @ axis
        return np.asarray((height < low + share) | (height > high - share))

    return where


def _inliers(residual: FloatArray, partner: BoolArray, deviation: float) -> tuple[float, float]:
    """Root mean square of the distances within three robust standard deviations, and their share."""
    inlier = partner & (np.abs(residual) <= _INLIER * deviation)
    rms = float(np.sqrt((residual[inlier] ** 2).mean())) if inlier.any() else float("nan")
    return rms, float(inlier.mean())


def _cautions(fit: Fit, settings: AlignmentSettings, alternatives: int) -> list[str]:
    found = []
    if settings.with_scale:
        found.append(_scale_sentence(fit.pose))
    if alternatives:
        number = "one other pose fits" if alternatives == 1 else f"{alternatives} other poses fit"
        found.append(
            f"{number.capitalize()} as well as this one, because the surface looks alike in them; "
            "named points would distinguish them."
        )
    if not fit.converged:
        found.append(f"The fit did not settle within {fit.steps} steps.")
    return found


def _scale_sentence(pose: Pose) -> str:
    return (
        f"A scale was asked for: the scan was multiplied by {pose.scale:.5g}, "
        "so a true difference of size does not show."
    )
