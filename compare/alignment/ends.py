# SPDX-License-Identifier: MIT
"""A free slide fixed by the two ends of the scan, if it reaches both open edges of the surface."""

from typing import NamedTuple

import numpy as np

from annelid.compare.alignment.fine import Fit
from annelid.compare.alignment.freedoms import FreeMotion
from annelid.compare.alignment.poses import Pose
from annelid.compare.alignment.surface import NominalSurface
from annelid.geometry.body import FloatArray, IntArray

_SECTORS = 24
_WITHIN = 3.0  # standard deviations from the surface: a point that belongs to it
_AGREE = 0.1  # of the diameter, or 4 standard deviations: largest disagreement of both ends


class EndFit(NamedTuple):
    """Where the ends of the scan are, compared with those of the surface.

    Attributes:
        shift: By how much the scan has to slide, mm.
        deviation: Standard deviation of the shift, mm.
        excess: By how much the scan is longer than the surface, mm.
        reaches: Whether it reaches both ends, so that the shift means something.
    """

    shift: float
    deviation: float
    excess: float
    reaches: bool


def end_fit(fit: Fit, points: FloatArray, surface: NominalSurface, motion: FreeMotion) -> EndFit:
    """Compare the ends of the scan with the open edges in sectors around the axis of a slide.

    In each sector the end of the scan is its last point, and half a mean gap beyond; the median over sectors
    does not feel holes and outliers at less than half of the edge.
    """
    near = np.abs(fit.residual) < _WITHIN * fit.deviation
    x = fit.pose.apply(points)
    # Points beyond an edge belong to the scan if they continue the surface.
    off = x - fit.foot
    radial = off - np.outer(off @ motion.axis, motion.axis)
    near |= ~fit.partner & (np.linalg.norm(radial, axis=1) < _WITHIN * fit.deviation)
    along, sector = _sectors(x[near] - surface.centroid, motion.axis)
    edge = surface.points[surface.open_points] - surface.centroid
    low, high = (float(np.median(side)) for side in _two_sides(edge @ motion.axis))
    count = np.bincount(sector, minlength=_SECTORS)
    full = count > 0
    gap = (high - low) / np.maximum(count, 1)
    last, first = np.full(_SECTORS, -np.inf), np.full(_SECTORS, np.inf)
    np.maximum.at(last, sector, along)
    np.minimum.at(first, sector, along)
    upper, lower = (last + gap - high)[full], (first - gap - low)[full]
    above, below = float(np.median(upper)), float(np.median(lower))
    variance = sum((1.4826 * np.median(np.abs(v - np.median(v)))) ** 2 for v in (upper, lower))
    deviation = float(1.2533 * np.sqrt(0.25 * variance / full.sum()))
    agree = max(_AGREE * surface.diameter, 8.0 * deviation)
    reaches = full.sum() > _SECTORS / 2 and abs(above - below) < agree
    return EndFit(-0.5 * (above + below), deviation, above - below, bool(reaches))


def fixed_by_ends(
    fit: Fit, points: FloatArray, surface: NominalSurface, motion: FreeMotion
) -> tuple[Pose, FreeMotion, str]:
    """Slide the scan so that both its ends are as far from the open edges; also say so in a sentence."""
    if not surface.open_points.any():
        return fit.pose, motion, ""
    found = end_fit(fit, points, surface, motion)
    length = (
        f"{abs(found.excess):.2g} mm {'longer' if found.excess > 0 else 'shorter'} than the {surface.name}"
    )
    if not found.reaches:
        sentence = f"The scan is {length}, so its ends do not fix the slide; named points would."
        return fit.pose, motion, sentence
    moved = motion.moved(fit.pose, np.array([found.shift]))
    pose = Pose(moved.rotation[0], moved.translation[0], fit.pose.scale)
    sentence = (
        f"Both ends of the scan were aligned with open edges (standard deviation {found.deviation:.2g} mm)"
        f"; the scan is {length}."
    )
    return pose, motion._replace(fixed_by="the ends of the scan"), sentence


def _sectors(off: FloatArray, axis: FloatArray) -> tuple[FloatArray, IntArray]:
    """Position along an axis and sector around it of points relative to a point of the axis."""
    along = off @ axis
    first = np.linalg.svd(axis[None])[2][1]
    angle = np.arctan2(off @ np.cross(axis, first), off @ first)
    return along, np.floor((angle / (2.0 * np.pi) + 0.5) * _SECTORS).astype(np.int64) % _SECTORS


def _two_sides(along: FloatArray) -> tuple[FloatArray, FloatArray]:
    middle = 0.5 * (along.min() + along.max())
    return along[along < middle], along[along >= middle]
