# SPDX-License-Identifier: MIT
"""Names of instabilities with waves around the axis, as a maker sees them."""

import re

NOT_JUDGED = "stability around the axis was not judged"
"""Begins the remark of a path whose model harmonics refuse."""

_MOST_LOBES = 7  # more of them are folds


def harmonic_words(m: int) -> str:
    """What a part does that becomes unstable with m ≥ 1 waves around its axis."""
    if m == 1:
        return "bends sideways"
    if m == 2:
        return "goes oval (2 lobes)"
    return f"wrinkles around, {m} folds" if has_folds(m) else f"folds into {m} lobes"


def has_folds(m: int) -> bool:
    """Whether waves are so many that they are called folds."""
    return m > _MOST_LOBES


def waves_of(kind: str) -> int:
    """Number of waves around the axis of a kind of critical point, 0 if it is axisymmetric."""
    number = re.search(r"(\d+) (?:lobes|folds)", kind)
    return int(number[1]) if number else int(kind == harmonic_words(1))
