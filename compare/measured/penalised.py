# SPDX-License-Identifier: MIT
"""Penalised splines over angle and height: fit, generalised cross-validation, uncertainty.

P-splines (Eilers, Marx, Statist. Sci. 11, 1996, 89-121): uniform cubic B-splines, periodic around, with a
penalty on second differences in both directions. The smoothing minimises the score of generalised
cross-validation (Craven, Wahba, Numer. Math. 31, 1979, 377-403), whose degrees of freedom count 1.2 times,
so that it does not undersmooth (Kim, Gu, J. R. Stat. Soc. B 66, 2004, 337-356, take up to 1.4). Standard
deviations are those of the Bayesian model behind the penalty (Wahba, J. R. Stat. Soc. B 45, 1983, 133-150),
whose intervals cover the truth at their level on average over the surface (Nychka, J. Am. Stat. Assoc. 83,
1988, 1134-1143). All sources from memory.
"""

from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np
from scipy.interpolate import BSpline
from scipy.linalg import cho_factor, cho_solve, circulant
from scipy.linalg.lapack import dpotri
from scipy.optimize import minimize
from scipy.sparse import csr_array

from annelid.compare.measured.cells import Cells
from annelid.geometry.body import FloatArray

_DEGREE = 3
_COUNTED = 1.2  # times a degree of freedom
_LIGHTEST, _HEAVIEST = -4.0, 8.0  # logarithms of the smoothing
_GRID = (-2.0, 0.0, 2.0, 4.0)  # from which the search begins
_AT_ONCE = 100_000  # points
_TURN = 2 * np.pi


@dataclass(frozen=True)
class Basis:
    """Products of B-splines over angle and height.

    Attributes:
        around: Number of splines around.
        along: Number of intervals along.
        low: Lowest height, mm.
        high: Highest height, mm.
    """

    around: int
    along: int
    low: float
    high: float

    @property
    def size(self) -> int:
        """Number of products."""
        return self.around * (self.along + _DEGREE)

    def at(self, angle: FloatArray, height: FloatArray) -> "csr_array[Any, tuple[int, int]]":
        """Values of all products at angles (rad) and heights (mm), shape (n, size), sparse."""
        a = _splines(angle % _TURN / _TURN * self.around, self.around)
        z = _splines((height - self.low) / (self.high - self.low) * self.along, self.along)
        columns = a[0] % self.around, z[0]
        numbers = columns[1][:, :, None] * self.around + columns[0][:, None, :]
        values = z[1][:, :, None] * a[1][:, None, :]
        count = len(angle)
        width = (_DEGREE + 1) ** 2
        rows = np.repeat(np.arange(count), width)
        return csr_array((values.ravel(), (rows, numbers.ravel())), shape=(count, self.size))

    def penalties(self) -> tuple[FloatArray, FloatArray]:
        """Squares of second differences of the coefficients around and along, each (size, size).

        Around, waves once around the surface are free: they move a section, as a shift of the axis does.
        """
        second = 2.0 - 2.0 * np.cos(_TURN * np.arange(self.around) / self.around)
        second[[0, 1, -1]] = 0.0
        ring = circulant(np.fft.ifft(second**2).real)
        line = np.diff(np.eye(self.along + _DEGREE), n=2, axis=0)
        around = np.kron(np.eye(self.along + _DEGREE), ring)
        along = np.kron(line.T @ line, np.eye(self.around))
        return np.asarray(around, dtype=np.float64), np.asarray(along, dtype=np.float64)


class FitResult(NamedTuple):
    """A penalised fit.

    Attributes:
        coefficients: Of the products of splines, shape (p,).
        factor: Cholesky factor of its normal equations.
        variance: Variance of a value of unit weight, mm².
        freedom: Effective number of parameters.
        logarithms: Logarithms (to base 10) of the smoothing around and along, over the mean of the normal
            equations' diagonal.
    """

    coefficients: FloatArray
    factor: tuple[FloatArray, bool]
    variance: float
    freedom: float
    logarithms: FloatArray


class PenalisedFit:
    """Fits of a radius to weighted cells.

    Args:
        basis: The splines.
        cells: Where the radius is known.
        weight: Weight of each cell, shape (c,).
    """

    def __init__(self, basis: Basis, cells: Cells, weight: FloatArray) -> None:
        self._basis, self._cells = basis, cells
        self._design = basis.at(cells.angle, cells.height)
        self._mean = float(np.average(cells.radius, weights=weight))
        self._values = cells.radius - self._mean
        self._weight = weight
        weighted = self._design.multiply(weight[:, None]).tocsr()
        self._normal = (weighted.T @ self._design).toarray()
        self._right = weighted.T @ self._values
        self._penalties = basis.penalties()
        self._scale = float(np.trace(self._normal)) / basis.size

    def with_smoothing(self, logarithms: FloatArray) -> FitResult:
        """Fit with given logarithms (to base 10) of the smoothing around and along."""
        around, along = (float(10.0**value) * self._scale for value in logarithms)
        matrix = self._normal + around * self._penalties[0] + along * self._penalties[1]
        matrix[np.diag_indices_from(matrix)] += 1e-9 * self._scale
        factor = cho_factor(matrix, lower=True, overwrite_a=True, check_finite=False)
        coefficients = cho_solve(factor, self._right, check_finite=False)
        inverse = dpotri(factor[0], lower=1)[0]
        inverse = np.tril(inverse) + np.tril(inverse, -1).T
        freedom = float(np.sum(inverse * self._normal))
        left = float(self._weight @ (self._values - self._design @ coefficients) ** 2)
        known = int(np.count_nonzero(self._weight))
        variance = left / max(known - freedom, 1.0)
        return FitResult(coefficients, factor, variance, freedom, logarithms)

    def score(self, fit: FitResult) -> float:
        """Logarithm of the score of generalised cross-validation; smaller is better."""
        known = int(np.count_nonzero(self._weight))
        free = max(known - _COUNTED * fit.freedom, 1e-3)
        return float(np.log(fit.variance * max(known - fit.freedom, 1.0)) - 2 * np.log(free))

    @property
    def weight(self) -> FloatArray:
        """Weight of each cell, shape (c,)."""
        return self._weight

    def without(self, kept: FloatArray) -> "PenalisedFit":
        """The same with some cells left out, as ``kept`` (0 or 1 for each) says."""
        return PenalisedFit(self._basis, self._cells, self._weight * kept)

    def best(self, start: FloatArray | None = None) -> tuple[FloatArray, FitResult]:
        """Return the logarithms of the smoothing with the least score, and the fit.

        Args:
            start: Where the search begins; by default where a coarse grid has its least score.
        """

        def score(logarithms: FloatArray) -> float:
            return self.score(self.with_smoothing(np.clip(logarithms, _LIGHTEST, _HEAVIEST)))

        if start is None:
            start = min((np.array([a, z]) for a in _GRID for z in _GRID), key=score)
        simplex = start + np.array([[0.0, 0.0], [0.7, 0.0], [0.0, 0.7]])
        options: Any = {"initial_simplex": simplex, "xatol": 0.15, "fatol": 3e-4, "maxfev": 14}
        least = minimize(score, start, method="Nelder-Mead", options=options)
        found = np.clip(least.x, _LIGHTEST, _HEAVIEST)
        return found, self.with_smoothing(found)

    def values(self, fit: FitResult, angle: FloatArray, height: FloatArray) -> FloatArray:
        """Radius of a fit at angles and heights, mm."""
        found = np.full(len(angle), self._mean)
        for first in range(0, len(angle), _AT_ONCE):  # a million points at once would need a GB
            piece = slice(first, first + _AT_ONCE)
            found[piece] += self._basis.at(angle[piece], height[piece]) @ fit.coefficients
        return found

    def deviations(self, fit: FitResult, angle: FloatArray, height: FloatArray) -> FloatArray:
        """Standard deviation of the radius of a fit at angles and heights, mm."""
        rows = self._basis.at(angle, height)
        spread = cho_solve(fit.factor, rows.toarray().T, check_finite=False)
        return np.sqrt(fit.variance * np.maximum(rows.multiply(spread.T).sum(axis=1), 0.0))


def _splines(place: FloatArray, intervals: int) -> tuple[FloatArray, FloatArray]:
    """Numbers and values of the four splines that are not zero at places from 0 to ``intervals``."""
    inside = np.clip(place, 0.0, intervals)
    knots = np.arange(-_DEGREE, intervals + _DEGREE + 1, dtype=np.float64)
    matrix = BSpline.design_matrix(inside, knots, _DEGREE)
    shape = (len(place), _DEGREE + 1)
    return matrix.indices.reshape(shape).astype(np.int64), matrix.data.reshape(shape)
