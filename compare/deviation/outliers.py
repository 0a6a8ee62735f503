# SPDX-License-Identifier: MIT
"""Points whose deviation is not that of their neighbours."""

from typing import NamedTuple

import numpy as np
from scipy.spatial import cKDTree

from annelid.compare.deviation.signed import Deviations

_NEIGHBOURS = 12
_LONELY = 4.0  # medians of the distance to the last neighbour
_MAD = 1.4826  # standard deviation of normal errors over their median absolute deviation


class WithoutOutliers(NamedTuple):
    """Deviations without outliers.

    Attributes:
        kept: The other deviations.
        apart: How many were too far from the median of their neighbours.
        lonely: How many had too few neighbours, as outliers within a hole.
        noise: Robust standard deviation of a point from its neighbours, mm.
    """

    kept: Deviations
    apart: int
    lonely: int
    noise: float


def without_outliers(found: Deviations, *, most: float = 5.0) -> WithoutOutliers:
    """Remove points that differ from the median of the twelve nearest on the surface.

    Args:
        found: Deviations of the scan.
        most: Largest difference, in robust standard deviations of all differences.
    """
    if len(found.value) <= _NEIGHBOURS:
        return WithoutOutliers(found, 0, 0, float("nan"))
    distance, nearest = cKDTree(found.foot).query(found.foot, k=_NEIGHBOURS + 1)
    difference = np.abs(found.value - np.median(found.value[nearest[:, 1:]], axis=1))
    noise = _MAD * float(np.median(difference))
    lonely = distance[:, -1] > _LONELY * np.median(distance[:, -1])
    apart = ~lonely & (difference > most * noise)
    return WithoutOutliers(found.chosen(~(lonely | apart)), int(apart.sum()), int(lonely.sum()), noise)
