# SPDX-License-Identifier: MIT
"""Components of variance of parts, operators, their interaction and repeats, also of unbalanced data."""

from typing import NamedTuple

import numpy as np

from annelid.compare.alignment.surface import BoolArray
from annelid.geometry.body import FloatArray, IntArray

PART, OPERATOR, INTERACTION, REPEAT = "part", "operator", "part by operator", "repeat"
"""Sources of variation."""


class Components(NamedTuple):
    """Components of variance of m quantities, from e sources.

    Attributes:
        sources: Names of the sources; the last is what is left.
        squares: Sum of squares of each source, shape (e, m).
        degrees: Its degrees of freedom, shape (e, m).
        expected: Coefficients k of the expected sums of squares E[SS_i] = Σ_j k_ij σ_j², shape (m, e, e).
        variance: Estimated σ_j², which may be negative, shape (e, m); ``nan`` where it is not known.
        balanced: Whether all cells have equally many values, in all quantities.
    """

    sources: tuple[str, ...]
    squares: FloatArray
    degrees: FloatArray
    expected: FloatArray
    variance: FloatArray
    balanced: bool

    def of(self, source: str) -> FloatArray:
        """Variance of a source, shape (m,), negative ones set to zero; ``nan`` if it is not known."""
        if source not in self.sources:
            return np.full(self.variance.shape[1], np.nan)
        return np.maximum(self.variance[self.sources.index(source)], 0.0)

    def total(self, *sources: str) -> tuple[FloatArray, FloatArray]:
        """Sum of the variances of sources, negative ones set to zero, and its degrees of freedom.

        The degrees of freedom are those of Satterthwaite, Biometrics Bulletin 2 (1946) 110 (from memory):
        those of the chi-square distribution with the same mean and variance. Both have the shape (m,).
        """
        chosen = np.array([name in sources for name in self.sources])
        positive = chosen[:, None] & ~(self.variance < 0.0)
        total = np.where(positive, self.variance, 0.0).sum(axis=0)
        weights = np.einsum("em,mes->sm", positive.astype(float), _inverse(self.expected))
        terms = weights * self.squares
        with np.errstate(divide="ignore", invalid="ignore"):
            spread = np.where(self.degrees > 0, terms**2 / self.degrees, 0.0).sum(axis=0)
            return total, np.where(total > 0.0, total**2 / spread, np.nan)


def variance_components(values: FloatArray, part: IntArray, operator: IntArray) -> Components:
    """Estimate components of variance by the analysis of variance of Henderson's first method.

    The sums of squares of the random model y = μ + part + operator + part by operator + repeat are equated
    with their expectations (Henderson, Biometrics 9 (1953) 226; Searle, Casella and McCulloch, Variance
    Components, 1992, chapter 5; both from memory). With balanced data this is the classical analysis of
    variance, with one part that of ISO 5725-2, also for cells with unequal numbers of values.

    What the data cannot distinguish is left out: without repeats the interaction is contained in the
    repeats, and one part or one operator has no component.

    Args:
        values: Shape (n, m); ``nan`` where there is none.
        part: Number of the part of each row, shape (n,).
        operator: Number of the operator of each row, shape (n,).
    """
    counts, sums, total = _cells(values, part, operator)
    sources = _sources(counts)
    groupings = {"mean": (0, 1), PART: (1,), OPERATOR: (0,), INTERACTION: ()}
    explained: dict[str, FloatArray] = {}
    groups: dict[str, FloatArray] = {}
    for name, axes in groupings.items():
        n = counts.sum(axis=axes, keepdims=True)
        s = sums.sum(axis=axes, keepdims=True)
        explained[name] = (s**2 / np.maximum(n, 1.0)).sum(axis=(0, 1))
        groups[name] = (n > 0).sum(axis=(0, 1)).astype(float)
    n = counts.sum(axis=(0, 1))
    coefficients = {
        g: {s: _coefficient(counts, groupings[g], groupings[s]) for s in sources[:-1]} for g in groupings
    }
    rows = [_contrast(source, sources) for source in sources]
    squares, degrees, expected = [], [], []
    for row in rows:
        squares.append(sum(c * (total if g == REPEAT else explained[g]) for g, c in row.items()))
        degrees.append(sum(c * (n if g == REPEAT else groups[g]) for g, c in row.items()))
        line = [
            sum(c * (n if g == REPEAT else coefficients[g][s]) for g, c in row.items()) for s in sources[:-1]
        ]
        expected.append(np.stack([*line, degrees[-1]], axis=-1))
    matrix = np.stack(expected, axis=1)
    inverse = _inverse(matrix)
    found = np.stack(squares)
    variance = np.einsum("mes,sm->em", inverse, found)
    balanced = bool((counts == counts[:1, :1]).all() and (counts[0, 0] > 0).all())
    return Components(sources, found, np.stack(degrees), matrix, variance, balanced)


def _cells(
    values: FloatArray, part: IntArray, operator: IntArray
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Numbers and sums of the values of each part and operator, and the sum of all squares.

    A mean is taken off first, so that the differences of sums of squares are not lost in rounding.
    """
    known = np.isfinite(values)
    n = np.maximum(known.sum(axis=0), 1)
    off = np.where(known, values - np.where(known, values, 0.0).sum(axis=0) / n, 0.0)
    shape = (int(part.max()) + 1, int(operator.max()) + 1, values.shape[1])
    counts, sums = np.zeros(shape), np.zeros(shape)
    for row, (i, j) in enumerate(zip(part, operator, strict=True)):
        counts[i, j] += known[row]
        sums[i, j] += off[row]
    return counts, sums, (off**2).sum(axis=0)


def _sources(counts: FloatArray) -> tuple[str, ...]:
    """The sources that the design can distinguish, judged by the fullest quantity."""
    full = counts.max(axis=2)
    parts, operators, cells = (full.sum(axis=1) > 0).sum(), (full.sum(axis=0) > 0).sum(), (full > 0).sum()
    number = full.sum()
    found = [PART] if parts > 1 and number > parts else []
    crossed = cells > max(parts, operators) and number > parts + operators - 1 and _connected(full > 0)
    if operators > 1 and (number > operators if parts == 1 else crossed):
        found.append(OPERATOR)
        if parts > 1 and cells > parts + operators - 1 and (full > 1).any():
            found.append(INTERACTION)
    return (*found, REPEAT)


def _connected(cells: BoolArray) -> bool:
    """Whether parts and operators are linked by cells, so that their effects can be compared."""
    reached = np.zeros(len(cells), dtype=bool)
    reached[np.flatnonzero(cells.any(axis=1))[:1]] = True
    for _ in range(len(cells)):
        reached |= cells[:, cells[reached].any(axis=0)].any(axis=1)
    return bool(reached[cells.any(axis=1)].all())


def _coefficient(counts: FloatArray, grouped: tuple[int, ...], random: tuple[int, ...]) -> FloatArray:
    """Coefficient of the variance of a source in the expected Σ y²/n over a grouping: Σ_g Σ_b n_gb²/n_g.

    A grouping is given by the axes (part, operator) over which it sums.
    """
    joint = tuple(axis for axis in grouped if axis in random)
    both = counts.sum(axis=joint, keepdims=True)
    n = counts.sum(axis=grouped, keepdims=True)
    return np.asarray((both**2 / np.maximum(n, 1.0)).sum(axis=(0, 1)))


def _contrast(source: str, sources: tuple[str, ...]) -> dict[str, float]:
    """The sum of squares of a source as a combination of those that the groupings explain."""
    if source in (PART, OPERATOR):
        return {source: 1.0, "mean": -1.0}
    if source == INTERACTION:
        return {INTERACTION: 1.0, PART: -1.0, OPERATOR: -1.0, "mean": 1.0}
    if INTERACTION in sources:
        return {REPEAT: 1.0, INTERACTION: -1.0}
    main = sources[:-1]
    return {REPEAT: 1.0, **dict.fromkeys(main, -1.0), "mean": len(main) - 1.0}


def _inverse(matrix: FloatArray) -> FloatArray:
    """Inverses of matrices, shape (m, e, e); ``nan`` of those that have none."""
    size = np.abs(matrix).max(axis=(1, 2), keepdims=True)
    scaled = matrix / np.where(size > 0.0, size, 1.0)
    regular = np.linalg.matrix_rank(scaled, tol=1e-9) == matrix.shape[1]
    found = np.full_like(matrix, np.nan)
    found[regular] = np.linalg.inv(scaled[regular]) / size[regular]
    return found
