# SPDX-License-Identifier: MIT
"""Pareto fronts: what nothing beats in one objective without losing in another."""

import numpy as np
from numpy.typing import NDArray

__all__ = ["front_of"]

_CHUNK = 512


def front_of(objectives: NDArray[np.float64], maximise: tuple[bool, ...]) -> NDArray[np.int64]:
    """Numbers of the rows on the front.

    Args:
        objectives: One row a run, one column an objective, shape (n, m); rows with NaN are never on it.
        maximise: Whether larger is better, one an objective.

    Returns:
        Row numbers, ascending. Of equal rows all are on the front, or none.
    """
    signs = np.where(maximise, -1.0, 1.0)
    complete = np.flatnonzero(np.isfinite(objectives).all(axis=1))
    costs = objectives[complete] * signs
    beaten = np.zeros(len(costs), dtype=bool)
    for begin in range(0, len(costs), _CHUNK):
        part = costs[begin : begin + _CHUNK, None, :]
        no_worse = (costs[None] <= part).all(axis=2)
        better = (costs[None] < part).any(axis=2)
        beaten[begin : begin + _CHUNK] = (no_worse & better).any(axis=1)
    return complete[~beaten]
