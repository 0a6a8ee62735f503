# SPDX-License-Identifier: MIT
"""Titles of loads: loads that are equal along a whole path are drawn once, with the names of all."""

from itertools import pairwise

import numpy as np

from annelid.results.folder.tables import PathRecord
from annelid.solver.model.loads import load_kind

_EQUAL = 1e-9  # of the largest value of a load
_FEWEST = 3  # names from which on only the first and the last are written


def distinct_loads(table: PathRecord) -> list[str]:
    """Return the loads that vary, of equal ones only the first."""
    return [name for name in table.varying_loads if _equal_loads(table, name)[0] == name]


def load_title(table: PathRecord, name: str) -> str:
    """Return the name of a load or quantity, for equal loads with all their names.

    Examples are ``"voltage ring_1 to ring_8"`` and ``"voltage ring_1, ring_4"``.
    """
    equal = _equal_loads(table, name)
    if len(equal) == 1:
        return name
    label = _label(name)
    members = [other.removeprefix(f"{label} ") for other in equal]
    positions = [[n for n in table.loads if _label(n) == label].index(other) for other in equal]
    successive = all(after == before + 1 for before, after in pairwise(positions))
    if successive and len(members) >= _FEWEST:
        return f"{label} {members[0]} to {members[-1]}"
    return f"{label} {', '.join(members)}"


def _equal_loads(table: PathRecord, name: str) -> list[str]:
    """Loads of the kind of a load that are equal to it, itself included."""
    label = _label(name)
    if not label:
        return [name]
    values = np.nan_to_num(table[name])
    close = _EQUAL * np.abs(values).max(initial=0.0)
    others = [other for other in table.loads if _label(other) == label]
    return [o for o in others if (np.abs(np.nan_to_num(table[o]) - values) <= close).all()]


def _label(name: str) -> str:
    """The label of a kind of load that acts on something with a name; empty for others."""
    kind = load_kind(name)
    return kind.label if kind is not None and kind.acts_on else ""
