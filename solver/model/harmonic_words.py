# SPDX-License-Identifier: MIT
"""Names of instabilities with waves around the axis, as a maker sees them."""

import re

_MOST_LOBES = 7  # more of them are wrinkles


def harmonic_words(m: int) -> str:
    """What a part does that becomes unstable with m ≥ 1 waves around its axis."""
    if m == 1:
        return "bends sideways"
    if m == 2:
        return "goes oval (2 lobes)"
    return f"folds into {m} lobes" if m <= _MOST_LOBES else f"wrinkles around, {m} folds"


def waves_of(kind: str) -> int:
    """Number of waves around the axis of a kind of critical point, 0 if it is axisymmetric."""
    number = re.search(r"(\d+) (?:lobes|folds)", kind)
    return int(number[1]) if number else int(kind == harmonic_words(1))
