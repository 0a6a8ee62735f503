# SPDX-License-Identifier: MIT
"""Polylines cut off at the ends of an interval."""

from itertools import pairwise

import numpy as np

from annelid.geometry.body import FloatArray
from annelid.geometry.lattice.scale_profile import Interval

_ROUNDING = 1e-9


def clipped(line: FloatArray, interval: Interval) -> list[FloatArray]:
    """Return the pieces of a polyline within an interval of v, whose ends lie exactly on its limits."""
    pieces, edges = [line[:1]], np.array(interval)
    for start, stop in pairwise(line):
        with np.errstate(divide="ignore", invalid="ignore"):
            fractions = (edges - start[1]) / (stop[1] - start[1])
        inner = np.sort(fractions[(fractions > 0.0) & (fractions < 1.0)])
        pieces += [start + inner[:, None] * (stop - start), stop[None]]
    dense = np.concatenate(pieces)
    for edge in interval:
        on_edge = np.abs(dense[:, 1] - edge) < _ROUNDING * (interval.high - interval.low)
        dense[on_edge, 1] = edge
    middle = (dense[1:, 1] + dense[:-1, 1]) / 2
    inside = (middle > interval.low) & (middle < interval.high)
    bounds = np.flatnonzero(np.diff(np.concatenate([[False], inside, [False]])))
    kept = [dense[first : last + 1] for first, last in bounds.reshape(-1, 2)]
    return [piece for piece in kept if np.ptp(piece, axis=0).max() > 0.0]
