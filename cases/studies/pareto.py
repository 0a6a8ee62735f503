# SPDX-License-Identifier: MIT
"""Pareto fronts: rows that no other row dominates."""

import numpy as np
from numpy.typing import NDArray

from annelid.geometry.body import FloatArray

__all__ = ["pareto_front"]

_CHUNK = 512


def pareto_front(objectives: FloatArray, maximise: tuple[bool, ...]) -> NDArray[np.int64]:
    """Indices of the rows on the Pareto front.

    Args:
        objectives: One row per run and one column per objective, shape (n, m); rows with NaN are never on it.
        maximise: Whether larger is better, one per objective.

    Returns:
        Row indices, ascending. Equal rows are either all on the front or none of them is.
    """
    signs = np.where(maximise, -1.0, 1.0)
    complete = np.flatnonzero(np.isfinite(objectives).all(axis=1))
    costs = objectives[complete] * signs
    dominated = np.zeros(len(costs), dtype=bool)
    for begin in range(0, len(costs), _CHUNK):
        part = costs[begin : begin + _CHUNK, None, :]
        no_worse = (costs[None] <= part).all(axis=2)
        better = (costs[None] < part).any(axis=2)
        dominated[begin : begin + _CHUNK] = (no_worse & better).any(axis=1)
    return complete[~dominated]
