# SPDX-License-Identifier: MIT
"""Which two methods are compared: those of a list of scans, by scan and by hand, or two operators."""

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from annelid.compare.repeatability.agreement import Agreement, agreement
from annelid.compare.repeatability.hand_measures import HandMeasured
from annelid.compare.repeatability.listing import ListedScan
from annelid.geometry.body import FloatArray

_BY_SCAN, _BY_HAND = "scans", "measures by hand"


class TwoMethods(NamedTuple):
    """Two methods and their agreement.

    Attributes:
        names: Names of both; empty if nothing is compared.
        agreements: Agreement in each measure by its name.
    """

    names: tuple[str, ...]
    agreements: dict[str, Agreement]


def two_methods(
    entries: Sequence[ListedScan],
    values: FloatArray,
    measures: Sequence[str],
    by_hand: Sequence[HandMeasured] = (),
) -> TwoMethods:
    """Compare the two methods there are, or two operators if there is one method.

    Args:
        entries: The scans.
        values: Their measures, shape (n, q).
        measures: Names of the measures.
        by_hand: Measures by hand. These are compared with the scans of the first method.
    """
    parts = list(dict.fromkeys(entry.part for entry in entries))
    rows = [(entry.part, value) for entry, value in zip(entries, values, strict=True)]
    if by_hand:
        first = entries[0].method
        own = [row for row, entry in zip(rows, entries, strict=True) if entry.method == first]
        hand = [(part, np.array([given.get(name, np.nan) for name in measures])) for part, given in by_hand]
        return _compared((first or _BY_SCAN, _BY_HAND), (own, hand), parts, measures)
    for labels in ([entry.method for entry in entries], [entry.operator for entry in entries]):
        both = tuple(dict.fromkeys(labels))
        if len(both) == 2:
            sides = [[row for row, label in zip(rows, labels, strict=True) if label == name] for name in both]
            return _compared(both, sides, parts, measures)
        if len(both) > 2:
            break
    return TwoMethods((), {})


def _compared(
    names: tuple[str, ...],
    sides: Sequence[Sequence[tuple[str, FloatArray]]],
    parts: Sequence[str],
    measures: Sequence[str],
) -> TwoMethods:
    found = {}
    for column, measure in enumerate(measures):
        first, second = (
            [np.array([value[column] for own, value in side if own == part]) for part in parts]
            for side in sides
        )
        one = agreement(first, second)
        if one is not None:
            found[measure] = one
    return TwoMethods(names if found else (), found)
