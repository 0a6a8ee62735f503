# SPDX-License-Identifier: MIT
"""Distributions of variables, and samples of the unit cube that they are drawn with."""

import math

import numpy as np

from annelid.cases.schema.units import UnitError, parse
from annelid.cases.studies.schema import Vary
from annelid.cases.studies.values import internal_unit
from annelid.geometry.body import FloatArray
from annelid.geometry.errors import InputError

__all__ = ["Distribution", "parse_numbers", "unit_cube_samples"]


def parse_numbers(vary: Vary, label: str, *keys: str) -> tuple[str, list[float]]:
    """Values of some keys in their common internal unit.

    Raises:
        InputError: A value is not a number with a unit, or the units are of different kinds.
    """
    given = [(key, getattr(vary, key)) for key in keys]
    unit = internal_unit(given[0][1])
    if unit is None:
        raise InputError(f'{label}: "{given[0][1]}" is not a number with a unit', key=label)
    try:
        return unit, [parse(value, unit) for _, value in given]
    except UnitError as error:
        text = f"{error}; all of its numbers must have units of one kind"
        raise InputError(f"{label}: {text}", key=label) from None


class Distribution:
    """A uniform, normal or lognormal distribution, possibly truncated.

    Attributes:
        unit: Internal unit of its values.
    """

    def __init__(self, vary: Vary, label: str) -> None:
        self._kind = vary.distribution or "uniform"
        if self._kind == "uniform":
            self._check_keys(vary, label, ("start", "end"), ("mean", "deviation", "at_least", "at_most"))
            self.unit, (self._low, self._high) = parse_numbers(vary, label, "start", "end")
            if not self._low < self._high:
                raise InputError(f"{label}: from must be below to", key=label)
            return
        self._check_keys(vary, label, ("mean", "deviation"), ("start", "end"))
        self.unit, (self._mean,) = parse_numbers(vary, label, "mean")
        self._deviation = self._standard_deviation(vary, label)
        self._bounds = [
            limit if given is None else parse_numbers(vary, label, "mean", key)[1][1]
            for key, given, limit in (("at_least", vary.at_least, -np.inf), ("at_most", vary.at_most, np.inf))
        ]
        if not self._bounds[0] < self._mean < self._bounds[1]:
            raise InputError(f"{label}: the mean must be between at_least and at_most", key=label)
        if self._kind == "lognormal" and self._mean <= 0:
            raise InputError(f"{label}.mean: must be above zero for a lognormal distribution", key=label)

    def _standard_deviation(self, vary: Vary, label: str) -> float:
        given = vary.deviation
        if isinstance(given, str) and given.strip().endswith("%") and self.unit != "1":
            try:
                deviation = parse(given, "1") * abs(self._mean)
            except UnitError as error:
                raise InputError(f"{label}.deviation: {error}", key=label) from None
        else:
            deviation = parse_numbers(vary, label, "mean", "deviation")[1][1]
            if isinstance(given, str) and given.strip().endswith("%"):
                deviation *= abs(self._mean)
        if deviation <= 0:
            raise InputError(f"{label}.deviation: {given!r} must be above zero", key=label)
        return deviation

    def _check_keys(
        self, vary: Vary, label: str, required: tuple[str, ...], forbidden: tuple[str, ...]
    ) -> None:
        names = {"start": "from", "end": "to"}
        for key in required:
            if getattr(vary, key) is None:
                text = f"a {self._kind} distribution needs {names.get(key, key)}"
                raise InputError(f"{label}: {text}", key=label)
        for key in forbidden:
            if getattr(vary, key) is not None:
                text = f"a {self._kind} distribution has no {names.get(key, key)}"
                raise InputError(f"{label}: {text}", key=label)

    def quantiles(self, probabilities: FloatArray) -> FloatArray:
        """Quantiles of the distribution for probabilities from 0 to 1."""
        from scipy.stats import norm

        if self._kind == "uniform":
            return self._low + (self._high - self._low) * probabilities
        if self._kind == "lognormal":
            # Mean and deviation are those of the value, not of its logarithm.
            sigma = math.sqrt(math.log1p((self._deviation / self._mean) ** 2))
            log_median = math.log(self._mean) - sigma**2 / 2
            low, high = (math.log(b) if b > 0 else -np.inf for b in self._bounds)
            cut = np.asarray(norm.cdf([low, high], log_median, sigma))
            return np.asarray(np.exp(norm.ppf(cut[0] + probabilities * (cut[1] - cut[0]), log_median, sigma)))
        cut = np.asarray(norm.cdf(self._bounds, self._mean, self._deviation))
        return np.asarray(norm.ppf(cut[0] + probabilities * (cut[1] - cut[0]), self._mean, self._deviation))


def unit_cube_samples(method: str, count: int, dimension: int, seed: int) -> FloatArray:
    """Sample the open unit cube, one point per row.

    Raises:
        InputError: The number of samples of a Sobol sequence is not a power of 2.
    """
    from scipy.stats import qmc

    rng = np.random.default_rng(seed)
    if method in ("sobol", "sensitivity") and count & (count - 1):
        near = 2 ** max(1, round(math.log2(count)))
        raise InputError(
            f"sampling.samples: {count} is not a power of 2; a Sobol sequence needs one, such as {near}",
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
