# SPDX-License-Identifier: MIT
"""Will the parts come out alike? Distributions of their quantities, and the share of good ones."""

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from annelid.results.study.records import Limit, Spread, Yield

__all__ = ["contributions", "spread_of", "yield_of"]

FloatArray = NDArray[np.float64]

_FEWEST = 5


def yield_of(group: str, good: NDArray[np.bool_], without_result: int) -> Yield:
    """Share of good parts with its exact 95 % interval (Clopper and Pearson, Biometrika 26 (1934) 404).

    Args:
        group: What the parts have in common, in words.
        good: Whether each part meets all requirements; parts without a result count as not good.
        without_result: Number of these.
    """
    from scipy.stats import binomtest

    count, parts = int(good.sum()), len(good)
    interval = binomtest(count, parts).proportion_ci(0.95, method="exact")
    return Yield(group, count, parts, float(interval.low), float(interval.high), without_result)


def spread_of(
    quantity: str,
    unit: str,
    group: str,
    values: FloatArray,
    limits: tuple[Limit, ...],
    variables: Mapping[str, FloatArray],
) -> Spread | None:
    """Distribution of a quantity.

    Args:
        quantity: Name of the quantity.
        unit: Unit inside.
        group: What the parts have in common, in words.
        values: One a part, NaN where there is none.
        limits: Requirements on it.
        variables: What was drawn, one value a part.

    Returns:
        The distribution; ``None`` if there are too few values.
    """
    found = np.isfinite(values)
    if found.sum() < _FEWEST:
        return None
    drawn = {name: column[found] for name, column in variables.items()}
    return Spread(quantity, unit, group, values[found], limits, contributions(values[found], drawn))


def contributions(values: FloatArray, variables: Mapping[str, FloatArray]) -> dict[str, float]:
    """Share of the variance by variable, from a linear fit to independent scatter.

    This is the propagation of errors with slopes from regression: slope^2 var(x). What the fit leaves over is
    called ``"not linear"``; the rest is shared, so that chance correlations of few samples do not show.

    Returns:
        Shares by name, empty where there are too few parts to tell.
    """
    names = list(variables)
    if len(values) < 3 * (len(names) + 1) or np.ptp(values) == 0.0:
        return {}
    columns = np.column_stack([variables[name] for name in names])
    centred = columns - columns.mean(axis=0)
    slopes, *_ = np.linalg.lstsq(centred, values - values.mean(), rcond=None)
    rest = float((values - values.mean() - centred @ slopes).var() / values.var())
    parts = slopes**2 * columns.var(axis=0)
    shares = (1.0 - rest) * parts / parts.sum()
    return dict(zip(names, map(float, shares), strict=True)) | {"not linear": rest}
