# SPDX-License-Identifier: MIT
"""Repeatability and reproducibility of quantities in the sense of ISO 5725-2."""

from collections.abc import Iterator
from typing import NamedTuple

import numpy as np
from scipy import stats

from annelid.compare.repeatability.components import (
    INTERACTION,
    OPERATOR,
    PART,
    REPEAT,
    Components,
    variance_components,
)
from annelid.compare.repeatability.consistency import Consistency, consistency
from annelid.compare.repeatability.listing import ScanDesign
from annelid.geometry.body import FloatArray

LIMIT = 2.8
"""A limit over its standard deviation: 1.96 √2, rounded as in ISO 5725-6 (from memory)."""
_LEVEL = 0.05


FEWEST_DEGREES = 1.0
"""Degrees of freedom below which there is no interval: it would be wider than a factor of 70."""


class StandardDeviation(NamedTuple):
    """A standard deviation with its 95 % confidence interval, from a chi-square distribution.

    Attributes:
        value: ``nan`` if the data do not determine it.
        low: Lower end.
        high: Upper end.
        degrees: Degrees of freedom.
    """

    value: float
    low: float
    high: float
    degrees: float

    @property
    def limit(self) -> float:
        """Difference that two single results exceed in 5 % of the cases."""
        return LIMIT * self.value


UNKNOWN = StandardDeviation(np.nan, np.nan, np.nan, np.nan)


class Precision(NamedTuple):
    """Precision of a quantity, in its unit.

    Attributes:
        mean: Mean of all values.
        number: Number of values.
        repeatability: Standard deviation of repeats by one operator on one part.
        reproducibility: That of results of different operators on one part.
        parts: Standard deviation between parts.
        components: Variances by source, as estimated: a negative one counts as zero.
        analysis: Sum of squares, degrees of freedom, mean square, F and p of each source; F and p are ``nan``
            unless the data are balanced.
    """

    mean: float
    number: int
    repeatability: StandardDeviation
    reproducibility: StandardDeviation
    parts: StandardDeviation
    components: dict[str, float]
    analysis: dict[str, tuple[float, float, float, float, float]]


def precisions(values: FloatArray, design: ScanDesign) -> list[Precision]:
    """Return the precision of quantities.

    Args:
        values: Shape (n, q); ``nan`` where a scan has none.
        design: Who scanned what.
    """
    found = []
    for column in values.T:
        components = variance_components(column[:, None], design.part, design.operator)
        repeated, one_part = has_repeats(column, design), len(design.parts) == 1
        found.append(_precision(column, components, repeated, one_part=one_part))
    return found


def has_repeats(values: FloatArray, design: ScanDesign) -> bool:
    """Whether one operator has scanned one part more than once."""
    cells = np.column_stack([design.part, design.operator])[np.isfinite(values)]
    return len(np.unique(cells, axis=0)) < len(cells)


def levels(values: FloatArray, design: ScanDesign) -> Iterator[tuple[str, Precision]]:
    """Return the precision of each part by itself: a level of ISO 5725-2.

    Args:
        values: Shape (n,).
        design: Who scanned what.
    """
    for number, name in enumerate(design.parts):
        chosen = design.part == number
        one = np.zeros(int(chosen.sum()), dtype=np.int64)
        operators = np.unique(design.operator[chosen], return_inverse=True)[1]
        components = variance_components(values[chosen, None], one, operators)
        own = ScanDesign((name,), design.operators, one, design.operator[chosen])
        yield name, _precision(values[chosen], components, has_repeats(values[chosen], own))


def consistencies(values: FloatArray, design: ScanDesign) -> Iterator[tuple[str, Consistency]]:
    """Test the operators on each part, and the parts, for outliers; yield what was tested and the test.

    Args:
        values: Shape (n,).
        design: Who scanned what.
    """
    if len(design.operators) > 1:
        for number, part in enumerate(design.parts):
            groups = [
                values[(design.part == number) & (design.operator == i)] for i in range(len(design.operators))
            ]
            for test in consistency(design.operators, groups):
                yield f"operators, part {part}", test
    if len(design.parts) > 1:
        groups = [values[design.part == i] for i in range(len(design.parts))]
        for test in consistency(design.parts, groups):
            yield "parts", test


def deviation_of(variance: float, degrees: float) -> StandardDeviation:
    """Return a standard deviation with its confidence interval."""
    value = float(np.sqrt(max(variance, 0.0))) if np.isfinite(variance) else float("nan")
    if not degrees >= FEWEST_DEGREES or not np.isfinite(value):
        return StandardDeviation(value, np.nan, np.nan, float(degrees))
    low, high = (stats.chi2.ppf(share, degrees) for share in (1.0 - _LEVEL / 2.0, _LEVEL / 2.0))
    lower, upper = (float(value * np.sqrt(degrees / share)) for share in (low, high))
    return StandardDeviation(value, lower, upper, float(degrees))


def _precision(values: FloatArray, found: Components, repeated: bool, *, one_part: bool = True) -> Precision:
    known = values[np.isfinite(values)]
    repeats = _of(found, REPEAT) if repeated else UNKNOWN
    # Without repeats, what is left contains them: the scatter of operators, or else of parts.
    both = _of(found, OPERATOR, INTERACTION, REPEAT) if OPERATOR in found.sources else UNKNOWN
    parts = _of(found, PART) if PART in found.sources else UNKNOWN
    if found.sources == (REPEAT,) and not repeated:
        both, parts = (_of(found, REPEAT), parts) if one_part else (both, _of(found, REPEAT))
    return Precision(
        float(known.mean()) if known.size else float("nan"),
        int(known.size),
        repeats,
        both,
        parts,
        dict(zip(found.sources, map(float, found.variance[:, 0]), strict=True)),
        _analysis(found),
    )


def _of(found: Components, *sources: str) -> StandardDeviation:
    variance, degrees = found.total(*sources)
    known = all(np.isfinite(found.of(name)[0]) for name in sources if name in found.sources)
    return deviation_of(float(variance[0]), float(degrees[0])) if known else UNKNOWN


def _analysis(found: Components) -> dict[str, tuple[float, float, float, float, float]]:
    """The table of the analysis of variance; main effects are tested against their interaction."""
    squares, degrees = found.squares[:, 0], found.degrees[:, 0]
    mean = np.divide(squares, degrees, out=np.full_like(squares, np.nan), where=degrees > 0)
    rows = {}
    for i, source in enumerate(found.sources):
        ratio = p = float("nan")
        against = found.sources.index(INTERACTION) if INTERACTION in found.sources and i < 2 else -1
        if found.balanced and source != REPEAT and mean[against] > 0.0:
            ratio = float(mean[i] / mean[against])
            p = float(stats.f.sf(ratio, degrees[i], degrees[against]))
        rows[source] = (float(squares[i]), float(degrees[i]), float(mean[i]), ratio, p)
    return rows
