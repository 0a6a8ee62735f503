# SPDX-License-Identifier: MIT
"""Scatter: distributions, and the points of the unit cube that they are drawn by."""

import math

import numpy as np
from numpy.typing import NDArray

from annelid.cases.schema.units import UnitError, parse
from annelid.cases.studies.schema import Vary
from annelid.cases.studies.values import unit_of
from annelid.geometry.errors import InputError

__all__ = ["Scatter", "numbers", "shares"]


def numbers(vary: Vary, label: str, *keys: str) -> tuple[str, list[float]]:
    """Values of some keys in their common unit inside.

    Raises:
        InputError: A value is no number with a unit, or units are of different kinds.
    """
    given = [(key, getattr(vary, key)) for key in keys]
    unit = unit_of(given[0][1])
    if unit is None:
        raise InputError(f'{label}: "{given[0][1]}" is no number with a unit', key=label)
    try:
        return unit, [parse(value, unit) for _, value in given]
    except UnitError as error:
        raise InputError(f"{label}: {error}; all of its numbers need units of one kind", key=label) from None


class Scatter:
    """A distribution; turns numbers from 0 to 1 into values."""

    def __init__(self, vary: Vary, label: str) -> None:
        self._kind = vary.distribution or "uniform"
        if self._kind == "uniform":
            self._need(vary, label, ("start", "end"), ("mean", "deviation", "at_least", "at_most"))
            self.unit, (self._low, self._high) = numbers(vary, label, "start", "end")
            if not self._low < self._high:
                raise InputError(f"{label}: from must be below to", key=label)
            return
        self._need(vary, label, ("mean", "deviation"), ("start", "end"))
        self.unit, (self._mean,) = numbers(vary, label, "mean")
        self._deviation = self._spread(vary, label)
        self._bounds = [
            limit if given is None else numbers(vary, label, "mean", key)[1][1]
            for key, given, limit in (("at_least", vary.at_least, -np.inf), ("at_most", vary.at_most, np.inf))
        ]
        if not self._bounds[0] < self._mean < self._bounds[1]:
            raise InputError(f"{label}: the mean must lie between at_least and at_most", key=label)
        if self._kind == "lognormal" and self._mean <= 0:
            raise InputError(f"{label}.mean: must be above zero for a lognormal scatter", key=label)

    def _spread(self, vary: Vary, label: str) -> float:
        given = vary.deviation
        if isinstance(given, str) and given.strip().endswith("%") and self.unit != "1":
            deviation = parse(given, "1") * abs(self._mean)
        else:
            deviation = numbers(vary, label, "mean", "deviation")[1][1]
            if isinstance(given, str) and given.strip().endswith("%"):
                deviation *= abs(self._mean)
        if deviation <= 0:
            raise InputError(f"{label}.deviation: {given!r} must be above zero", key=label)
        return deviation

    def _need(self, vary: Vary, label: str, needed: tuple[str, ...], barred: tuple[str, ...]) -> None:
        said = {"start": "from", "end": "to"}
        for key in needed:
            if getattr(vary, key) is None:
                raise InputError(f"{label}: a {self._kind} scatter needs {said.get(key, key)}", key=label)
        for key in barred:
            if getattr(vary, key) is not None:
                raise InputError(f"{label}: a {self._kind} scatter has no {said.get(key, key)}", key=label)

    def values(self, shares: NDArray[np.float64]) -> NDArray[np.float64]:
        """Values below which so much of the scatter lies."""
        from scipy.stats import norm

        if self._kind == "uniform":
            return self._low + (self._high - self._low) * shares
        if self._kind == "lognormal":
            # Mean and deviation are those of the value itself, not of its logarithm.
            sigma = math.sqrt(math.log1p((self._deviation / self._mean) ** 2))
            median = math.log(self._mean) - sigma**2 / 2
            low, high = (math.log(b) if b > 0 else -np.inf for b in self._bounds)
            cut = np.asarray(norm.cdf([low, high], median, sigma))
            return np.asarray(np.exp(norm.ppf(cut[0] + shares * (cut[1] - cut[0]), median, sigma)))
        cut = np.asarray(norm.cdf(self._bounds, self._mean, self._deviation))
        return np.asarray(norm.ppf(cut[0] + shares * (cut[1] - cut[0]), self._mean, self._deviation))


def shares(method: str, count: int, dimension: int, seed: int) -> NDArray[np.float64]:
    """Points of the unit cube, one a row, none on its faces.

    Raises:
        InputError: A Sobol sequence of another number than a power of 2.
    """
    from scipy.stats import qmc

    rng = np.random.default_rng(seed)
    if method in ("sobol", "sensitivity") and count & (count - 1):
        near = 2 ** max(1, round(math.log2(count)))
        raise InputError(
            f"sampling.samples: {count}: a Sobol sequence needs a power of 2, such as {near}",
            key="sampling.samples",
        )
    if method == "random":
        found = rng.random((count, dimension))
    elif method == "latin hypercube":
        found = qmc.LatinHypercube(dimension, rng=rng).random(count)
    elif method == "sobol":
        found = qmc.Sobol(dimension, rng=rng).random(count)
    else:
        both = qmc.Sobol(2 * dimension, rng=rng).random(count)
        first, second = both[:, :dimension], both[:, dimension:]
        mixed = [np.where(np.arange(dimension) == i, second, first) for i in range(dimension)]
        found = np.concatenate([first, second, *mixed])
    return np.clip(found, 1e-12, 1 - 1e-12)
