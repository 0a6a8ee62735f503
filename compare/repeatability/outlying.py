# SPDX-License-Identifier: MIT
"""Generalised tests for several outliers, of single numbers and of scores in several modes."""

from typing import NamedTuple

import numpy as np
from scipy import stats

from annelid.geometry.body import FloatArray


class Suspect(NamedTuple):
    """A row in the order in which a test took it out.

    Attributes:
        row: Its number.
        statistic: Its statistic among the rows that were left.
        critical: The critical value.
        beyond: Whether the statistic is beyond it.
    """

    row: int
    statistic: float
    critical: float
    beyond: bool


def generalised_esd(values: FloatArray, *, level: float, most: int, upper: bool = False) -> list[Suspect]:
    """Test numbers for up to so many outliers (generalised extreme Studentised deviate).

    Rosner, Technometrics 25 (1983) 165, from memory: the number of outliers is that of the last step whose
    statistic is beyond its critical value. The level holds for all steps together.

    Args:
        values: Shape (n,), normal but for the outliers.
        level: Level of the test.
        most: Largest number of outliers, less than n - 2.
        upper: Whether only large values are outliers.
    """
    left, found = np.arange(len(values)), []
    sides = 1 if upper else 2
    for _ in range(most):
        x, n = values[left], len(left)
        deviation = x.std(ddof=1)
        if not deviation > 1e-12 * max(float(np.abs(x).max()), 1e-300):
            break
        off = x - x.mean() if upper else np.abs(x - x.mean())
        farthest = int(off.argmax())
        t = stats.t.isf(level / (sides * n), n - 2)
        critical = float((n - 1) * t / np.sqrt((n - 2 + t**2) * n))
        statistic = float(off[farthest] / deviation)
        found.append(Suspect(int(left[farthest]), statistic, critical, statistic > critical))
        left = np.delete(left, farthest)
    return _up_to_last(found)


def wilks_test(scores: FloatArray, *, level: float, most: int) -> list[Suspect]:
    """Test rows of several numbers for up to so many outliers.

    The statistic is Wilks' ratio of scatter determinants without and with a row; it is small for an outlier,
    equivalent to the largest Mahalanobis distance, and follows a beta distribution (Wilks, Sankhya A 25
    (1963) 407). Applied step by step, with Bonferroni's inequality over the rows that are left (Caroni and
    Prescott, Applied Statistics 41 (1992) 355). Both from memory.

    Args:
        scores: Shape (n, k), normal but for the outliers, n above k + 1.
        level: Level of the test for all steps together.
        most: Largest number of outliers, less than n - k - 1.
    """
    left, found = np.arange(len(scores)), []
    for _ in range(most):
        x, (n, k) = scores[left], scores[left].shape
        off = x - x.mean(axis=0)
        scatter = off.T @ off
        if np.linalg.matrix_rank(scatter, hermitian=True) < k:
            break
        distance = np.einsum("ni,ij,nj->n", off, np.linalg.inv(scatter), off)
        ratios = 1.0 - n / (n - 1.0) * distance
        smallest = int(ratios.argmin())
        critical = float(stats.beta.ppf(level / n, (n - k - 1) / 2.0, k / 2.0))
        ratio = float(max(ratios[smallest], 0.0))
        found.append(Suspect(int(left[smallest]), ratio, critical, ratio < critical))
        left = np.delete(left, smallest)
    return _up_to_last(found)


def _up_to_last(found: list[Suspect]) -> list[Suspect]:
    """Count all steps up to the last that is beyond: earlier ones may hide behind each other."""
    last = max((i for i, suspect in enumerate(found) if suspect.beyond), default=-1)
    return [suspect._replace(beyond=i <= last) for i, suspect in enumerate(found)]
