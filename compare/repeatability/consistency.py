# SPDX-License-Identifier: MIT
"""Tests for outlying groups (operators, parts) in the sense of ISO 5725-2, with computed critical values.

The statistics and their use are those of ISO 5725-2:1994, clause 7.3, and of its tables 4 to 7 (from memory).
A statistic beyond the critical value of 5 % is a straggler, beyond that of 1 % an outlier.
"""

from collections.abc import Iterator, Sequence
from functools import lru_cache
from typing import NamedTuple

import numpy as np
from scipy import stats

from annelid.geometry.body import FloatArray

LEVELS = (0.05, 0.01)
_DRAWS = 200_000  # of the ratio of two outlying means; its 1 % point is then known to 2 % for 8 groups
_CHUNK = 2_000_000  # numbers drawn at once
_COCHRAN, _GRUBBS, _PAIR = "Cochran's test", "Grubbs' test", "Grubbs' test for two"
_H, _K = "Mandel's h", "Mandel's k"
_DECIMALS = {_COCHRAN: 3, _GRUBBS: 3, _PAIR: 4, _H: 2, _K: 2}  # of the tables


class Consistency(NamedTuple):
    """A statistic of a group and its critical values.

    Attributes:
        test: Name of the test.
        group: Name of the group, or of two groups.
        statistic: Its value.
        critical: Critical values at 5 % and at 1 %.
    """

    test: str
    group: str
    statistic: float
    critical: tuple[float, float]

    @property
    def shown(self) -> tuple[str, str, str]:
        """Statistic and critical values with the decimals of the tables of the standard."""
        places = _DECIMALS[self.test]
        first, second, third = (f"{x:.{places}f}" for x in (self.statistic, *self.critical))
        return first.replace("-", "\u2212"), second, third

    @property
    def beyond(self) -> tuple[bool, bool]:
        """Whether the statistic is beyond each critical value, both with the decimals of the tables.

        Of three groups the largest possible h, 2/√3, equals both critical values in these decimals, so no
        group is a straggler or an outlier only because the two others nearly agree.
        """
        size, *critical = (float(x.removeprefix("\u2212")) for x in self.shown)
        five, one = (size < limit if self.test == _PAIR else size > limit for limit in critical)
        return five, one

    @property
    def verdict(self) -> str:
        """``"outlier"``, ``"straggler"`` or ``""``."""
        return "outlier" if self.beyond[1] else "straggler" if self.beyond[0] else ""


def cochran_critical(level: float, groups: int, number: int) -> float:
    """Critical value of the largest variance over the sum of the variances of groups.

    From Bonferroni's inequality, which is exact here where two variances cannot both exceed half of the sum
    (Cochran, Annals of Eugenics 11 (1941) 47, from memory).

    Args:
        level: Level of the test.
        groups: Number of groups.
        number: Number of values in each group.
    """
    f = stats.f.isf(level / groups, number - 1, (groups - 1) * (number - 1))
    return float(1.0 / (1.0 + (groups - 1) / f))


def grubbs_critical(level: float, groups: int) -> float:
    """Critical value of the largest distance of a mean from the mean of means, in standard deviations."""
    t2 = stats.t.isf(level / (2 * groups), groups - 2) ** 2
    return float((groups - 1) / np.sqrt(groups) * np.sqrt(t2 / (groups - 2 + t2)))


@lru_cache(maxsize=64)
def grubbs_pair_critical(groups: int) -> tuple[float, float]:
    """Critical values at 5 % and 1 % of the ratio of squares without and with the two largest means.

    The distribution has no closed form; the values are percentiles of simulated normal samples with a fixed
    seed. The levels are halved, because the two smallest means are tested too.
    """
    rng, ratios = np.random.default_rng(5725), []
    for count in np.diff(np.append(np.arange(0, _DRAWS, max(1, _CHUNK // groups)), _DRAWS)):
        drawn = np.sort(rng.standard_normal((count, groups)), axis=1)
        ratios.append(drawn[:, :-2].var(axis=1) * (groups - 2) / (drawn.var(axis=1) * groups))
    low5, low1 = np.quantile(np.concatenate(ratios), [level / 2.0 for level in LEVELS])
    return float(low5), float(low1)


def mandel_critical(level: float, groups: int, number: int) -> tuple[float, float]:
    """Critical values of Mandel's h and k: one group's share in a t and in an F distribution."""
    t = stats.t.isf(level / 2.0, groups - 2) if groups > 2 else np.nan
    h = (groups - 1) * t / np.sqrt(groups * (t**2 + groups - 2))
    f = stats.f.isf(level, number - 1, (groups - 1) * (number - 1)) if number > 1 else np.nan
    return float(h), float(np.sqrt(groups * f / (f + groups - 1)))


def consistency(names: Sequence[str], values: Sequence[FloatArray]) -> Iterator[Consistency]:
    """Test groups of values at one level.

    Groups with unequal numbers of values are tested as if all had the most frequent number, as the standard
    has it. Groups of one value have no test of variances, and two groups none of means. Three have no Grubbs'
    test, whose critical values in the tables are then the largest possible statistic, 1.155.

    Args:
        names: Names of the groups.
        values: The values of each.
    """
    some = [(name, x[np.isfinite(x)]) for name, x in zip(names, values, strict=True)]
    some = [(name, x) for name, x in some if x.size]
    groups = len(some)
    if groups < 2:
        return
    means = np.array([x.mean() for _, x in some])
    repeated = [(name, float(x.var(ddof=1))) for name, x in some if x.size > 1]
    number = _most_frequent([x.size for _, x in some if x.size > 1])
    scale = max(float(np.abs(means).max()), 1e-300)
    if len(repeated) > 1 and sum(v for _, v in repeated) > (1e-12 * scale) ** 2:
        yield from _of_variances(repeated, number)
    if groups > 2 and means.std(ddof=1) > 1e-12 * scale:
        yield from _of_means([name for name, _ in some], means)


def _of_variances(repeated: list[tuple[str, float]], number: int) -> Iterator[Consistency]:
    variance = np.array([v for _, v in repeated])
    largest, groups = int(variance.argmax()), len(repeated)
    critical = [cochran_critical(level, groups, number) for level in LEVELS]
    yield _found(_COCHRAN, repeated[largest][0], variance[largest] / variance.sum(), critical)
    ks = np.sqrt(variance / variance.mean())
    limits = [mandel_critical(level, groups, number)[1] for level in LEVELS]
    for (name, _), k in zip(repeated, ks, strict=True):
        yield _found(_K, name, k, limits)


def _of_means(names: list[str], means: FloatArray) -> Iterator[Consistency]:
    groups, order = len(means), np.argsort(means)
    h = (means - means.mean()) / means.std(ddof=1)
    singles = (
        []
        if groups < 4
        else [
            _found(_GRUBBS, names[i], abs(h[i]), [grubbs_critical(level, groups) for level in LEVELS])
            for i in order[[0, -1]]
        ]
    )
    yield from singles
    # The standard tests pairs only where no single mean is an outlier.
    if groups > 3 and not any(single.beyond[1] for single in singles):
        critical = grubbs_pair_critical(groups)
        whole = ((means - means.mean()) ** 2).sum()
        for pair in (order[:2], order[-2:]):
            left = np.delete(means, pair)
            ratio = float(((left - left.mean()) ** 2).sum() / whole)
            yield _found(_PAIR, " and ".join(names[i] for i in pair), ratio, critical)
    limits = [mandel_critical(level, groups, 2)[0] for level in LEVELS]
    for name, value in zip(names, h, strict=True):
        yield _found(_H, name, value, limits)


def _found(test: str, group: str, statistic: float, critical: Sequence[float]) -> Consistency:
    five, one = critical
    return Consistency(test, group, float(statistic), (five, one))


def _most_frequent(numbers: list[int]) -> int:
    found, count = np.unique(numbers, return_counts=True) if numbers else (np.array([1]), np.array([1]))
    return int(found[count.argmax()])
