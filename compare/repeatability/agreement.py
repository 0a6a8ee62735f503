# SPDX-License-Identifier: MIT
"""Agreement between two methods of measurement, after Bland and Altman, also with repeated measurements."""

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from scipy import stats

from annelid.geometry.body import FloatArray

COVER = 1.96
"""Standard deviations on both sides of the mean between which 95 % of normal differences lie."""
_FEWEST = 3


class Agreement(NamedTuple):
    """Bias and limits of agreement of two methods; lengths in the unit of the quantity.

    Attributes:
        mean: Mean of both methods for each of n subjects, shape (n,).
        difference: First less second method, of the means of the repeats, shape (n,).
        bias: Mean difference.
        spread: Standard deviation of the differences between single measurements.
        limits: Lower and upper limit of agreement.
        bias_error: Standard error of the bias.
        limit_error: Standard error of a limit.
        bias_range: 95 % confidence interval of the bias.
        limit_ranges: Those of the lower and of the upper limit.
        within: Standard deviation of the repeats of each method; ``nan`` without repeats.
        coefficients: Repeatability coefficient of each method, 1.96 √2 times this deviation.
        trend: Correlation of difference and mean, and its p-value.
    """

    mean: FloatArray
    difference: FloatArray
    bias: float
    spread: float
    limits: tuple[float, float]
    bias_error: float
    limit_error: float
    bias_range: tuple[float, float]
    limit_ranges: tuple[tuple[float, float], tuple[float, float]]
    within: tuple[float, float]
    coefficients: tuple[float, float]
    trend: tuple[float, float]


def agreement(first: Sequence[FloatArray], second: Sequence[FloatArray]) -> Agreement | None:
    """Compare two methods that measured the same subjects.

    The limits are those of single measurements: the variance of the differences of means is raised by
    (1 - 1/m) times the variance within the subjects, for each method with m repeats (Bland and Altman,
    Lancet 1986 i:307, and Statistical Methods in Medical Research 8 (1999) 135, section 5; from memory).
    Standard errors of the limits are first-order, from the variance of a standard deviation; confidence
    intervals are those of Student's t with one degree of freedom less than there are subjects.

    Args:
        first: Repeats of the first method for each subject.
        second: Those of the second.

    Returns:
        The agreement; None with fewer than three subjects that both methods measured.
    """
    pairs = [(x[np.isfinite(x)], y[np.isfinite(y)]) for x, y in zip(first, second, strict=True)]
    pairs = [(x, y) for x, y in pairs if x.size and y.size]
    n = len(pairs)
    if n < _FEWEST:
        return None
    means = np.array([[x.mean(), y.mean()] for x, y in pairs])
    difference, mean = means[:, 0] - means[:, 1], means.mean(axis=1)
    bias, between = float(difference.mean()), float(difference.var(ddof=1))
    variance, doubt = between, 2.0 * between**2 / (n - 1)
    within = []
    for repeats in zip(*pairs, strict=True):
        inside, degrees = _within(repeats)
        within.append(np.sqrt(inside))
        if degrees:
            share = 1.0 - float(np.mean([1.0 / x.size for x in repeats]))
            variance += share * inside
            doubt += 2.0 * (share * inside) ** 2 / degrees
    spread = float(np.sqrt(variance))
    bias_error = float(np.sqrt(between / n))
    limit_error = float(np.sqrt(between / n + COVER**2 * doubt / (4.0 * variance))) if variance > 0 else 0.0
    t = float(stats.t.isf(0.025, n - 1))
    limits = (bias - COVER * spread, bias + COVER * spread)
    low, high = ((limit - t * limit_error, limit + t * limit_error) for limit in limits)
    constant = np.ptp(mean) == 0.0 or np.ptp(difference) == 0.0
    trend = (np.nan, np.nan) if constant else tuple(map(float, stats.pearsonr(mean, difference)))
    return Agreement(
        mean,
        difference,
        bias,
        spread,
        limits,
        bias_error,
        limit_error,
        (bias - t * bias_error, bias + t * bias_error),
        (low, high),
        (float(within[0]), float(within[1])),
        (float(COVER * np.sqrt(2.0) * within[0]), float(COVER * np.sqrt(2.0) * within[1])),
        (trend[0], trend[1]),
    )


def _within(repeats: Sequence[FloatArray]) -> tuple[float, int]:
    """Pooled variance within the subjects and its degrees of freedom."""
    degrees = sum(x.size - 1 for x in repeats)
    squares = sum(float(((x - x.mean()) ** 2).sum()) for x in repeats)
    return (squares / degrees, degrees) if degrees else (float("nan"), 0)
