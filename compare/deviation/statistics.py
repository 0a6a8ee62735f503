# SPDX-License-Identifier: MIT
"""Statistics of deviations, weighted by points or by area."""

from collections.abc import Mapping, Sequence
from typing import NamedTuple

import numpy as np

from annelid.geometry.body import FloatArray
from annelid.geometry.errors import InputError

PERCENTILES = (1.0, 5.0, 25.0, 50.0, 75.0, 95.0, 99.0)


class Extreme(NamedTuple):
    """A largest or smallest deviation, mm, and its place on the surface, shape (3,), mm."""

    value: float
    place: FloatArray


class DeviationStatistics(NamedTuple):
    """Statistics of deviations; lengths in mm.

    Attributes:
        mean: Mean.
        rms: Root mean square.
        standard_deviation: Root mean square about the mean.
        percentiles: Deviation below which a percentage of the weight lies.
        largest: The largest (most outside).
        smallest: The smallest (most inside).
        profile: Profile of a surface in the sense of ISO 1101 (from memory, see ``surface_profile``).
    """

    mean: float
    rms: float
    standard_deviation: float
    percentiles: Mapping[float, float]
    largest: Extreme
    smallest: Extreme
    profile: float


def statistics(
    value: FloatArray,
    place: FloatArray,
    *,
    weight: FloatArray | None = None,
    percentiles: Sequence[float] = PERCENTILES,
) -> DeviationStatistics:
    """Return the statistics of deviations.

    Args:
        value: Shape (n,), mm.
        place: Shape (n, 3), mm.
        weight: Shape (n,), for instance areas; by default all are alike.
        percentiles: Percentages.

    Raises:
        InputError: There is no deviation with a weight.
    """
    weight = np.ones(len(value)) if weight is None else weight
    if not weight.sum() > 0:
        raise InputError("deviation: no point of the scan has a partner on the surface. Check the alignment.")
    mean = float(np.average(value, weights=weight))
    rms = float(np.sqrt(np.average(value**2, weights=weight)))
    counted = np.where(weight > 0, value, np.nan)
    top, bottom = int(np.nanargmax(counted)), int(np.nanargmin(counted))
    found = weighted_percentiles(value, weight, percentiles)
    return DeviationStatistics(
        mean,
        rms,
        float(np.sqrt(np.average((value - mean) ** 2, weights=weight))),
        dict(zip(percentiles, found.tolist(), strict=True)),
        Extreme(float(value[top]), place[top]),
        Extreme(float(value[bottom]), place[bottom]),
        surface_profile(value[top], value[bottom]),
    )


def surface_profile(largest: float, smallest: float) -> float:
    """Return the smallest width of a zone about the nominal surface that contains all deviations, mm.

    ISO 1101 (from memory): the zone of a surface profile lies between two surfaces that envelop spheres whose
    diameter is the tolerance and whose centres are on the nominal surface: twice the largest distance.
    """
    return float(2.0 * max(abs(largest), abs(smallest)))


def weighted_percentiles(value: FloatArray, weight: FloatArray, percentiles: Sequence[float]) -> FloatArray:
    """Return percentiles of weighted values; with equal weights those of Hazen, at (i - 1/2) / n."""
    order = np.argsort(value)
    cumulative = np.cumsum(weight[order]) - 0.5 * weight[order]
    return np.interp(np.asarray(percentiles) / 100.0 * weight.sum(), cumulative, value[order])
