# SPDX-License-Identifier: MIT
"""Effect of manufacturing tolerances: distributions of quantities, and the fraction of conforming parts."""

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from annelid.geometry.body import FloatArray
from annelid.results.study.study_data import QuantityLimit, Spread, Yield

__all__ = ["estimate_yield", "quantity_spread", "variance_contributions"]

_MIN_PARTS = 5


def estimate_yield(group: str, conforming: NDArray[np.bool_], without_result: int) -> Yield:
    """Fraction of conforming parts with its exact 95 % interval.

    The interval is that of Clopper and Pearson, Biometrika 26 (1934) 404.

    Args:
        group: Listed values that the parts have in common, as text.
        conforming: Whether each part meets all requirements; ``False`` for parts without a result.
        without_result: Number of parts without a result.
    """
    from scipy.stats import binomtest

    count, parts = int(conforming.sum()), len(conforming)
    interval = binomtest(count, parts).proportion_ci(0.95, method="exact")
    return Yield(group, count, parts, float(interval.low), float(interval.high), without_result)


def quantity_spread(
    quantity: str,
    group: str,
    values: FloatArray,
    limits: tuple[QuantityLimit, ...],
    variables: Mapping[str, FloatArray],
) -> Spread | None:
    """Distribution of a quantity.

    Args:
        quantity: Name of the quantity.
        group: Listed values that the parts have in common, as text.
        values: One per part, NaN without a result.
        limits: Requirements on the quantity.
        variables: Sampled variables, one value per part.

    Returns:
        The distribution; ``None`` if there are too few values.
    """
    finite = np.isfinite(values)
    if finite.sum() < _MIN_PARTS:
        return None
    sampled = {name: column[finite] for name, column in variables.items()}
    contributions = variance_contributions(values[finite], sampled)
    return Spread(quantity, group, values[finite], limits, contributions)


def variance_contributions(values: FloatArray, variables: Mapping[str, FloatArray]) -> dict[str, float]:
    """Fraction of the variance by variable, from a linear fit to independent variables.

    This is the propagation of errors with slopes from regression: slope^2 var(x). The residual of the fit is
    called ``"not linear"``. The other fractions are scaled to a total of 1 with it, so that chance
    correlations of few samples do not matter.

    Returns:
        Fractions by name; empty if there are too few parts.
    """
    names = list(variables)
    if len(values) < 3 * (len(names) + 1) or np.ptp(values) == 0.0:
        return {}
    columns = np.column_stack([variables[name] for name in names])
    centred = columns - columns.mean(axis=0)
    slopes, *_ = np.linalg.lstsq(centred, values - values.mean(), rcond=None)
    residual = float((values - values.mean() - centred @ slopes).var() / values.var())
    parts = slopes**2 * columns.var(axis=0)
    fractions = (1.0 - residual) * parts / parts.sum()
    return dict(zip(names, map(float, fractions), strict=True)) | {"not linear": residual}
