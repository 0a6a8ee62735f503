# SPDX-License-Identifier: MIT
"""From what rows and columns of elements add to errors to the edges of the next mesh; pure arithmetic."""

import math
from collections.abc import Sequence

import numpy as np

from annelid.geometry.body import FloatArray, IntArray

__all__ = ["divided_edges", "next_pieces"]

_ORDER = 2.0  # at which the part of a row decreases with its size: between smooth and singular places
_AIM = 0.6  # of the accuracy, so that the next mesh reaches it although the order is assumed
_MOST = 4  # pieces of a row in one pass
_ROUND_DOWN = 0.3  # of a piece
_JUMP = 4.0  # largest ratio of the sizes of neighbouring rows


def next_pieces(along: FloatArray, through: FloatArray, excess: float) -> tuple[IntArray, IntArray]:
    """Return in how many pieces each row and column should be, so that the error falls at the least cost.

    The errors of rows are assumed to fall with the square of their size. The cells that one more piece costs
    are those of a whole row or column.

    Args:
        along: What each row adds, shape (rows,), of any scale, not negative.
        through: What each column adds, shape (columns,).
        excess: Present error over the one allowed.
    """
    parts = np.concatenate([along, through])
    cost = np.concatenate([np.full(len(along), len(through)), np.full(len(through), len(along))])
    target = _AIM / excess * parts.sum()

    def pieces(λ: float) -> FloatArray:
        return np.clip((λ * parts / cost) ** (1 / (_ORDER + 1)), 1.0, _MOST)

    low, high = -30.0, 30.0  # exponents of λ
    scale = cost.mean() / max(parts.max(), np.finfo(float).tiny)
    for _ in range(60):
        middle = (low + high) / 2
        if (parts * pieces(scale * math.exp(middle)) ** -_ORDER).sum() > target:
            low = middle
        else:
            high = middle
    counts = np.ceil(pieces(scale * math.exp(high)) - _ROUND_DOWN).astype(np.int64)
    if counts.max() == 1:
        counts[np.argmax(parts / cost)] = 2
    return counts[: len(along)], counts[len(along) :]


def divided_edges(edges: FloatArray, pieces: IntArray, *, smooth: bool = True) -> FloatArray:
    """Return edges with each interval in so many even pieces, and neighbours not too different in size.

    Args:
        edges: Edges, ascending, shape (n + 1,).
        pieces: Pieces of each interval, shape (n,).
        smooth: Whether large intervals beside small ones are divided further.
    """
    lengths, counts = np.diff(edges), np.array(pieces)
    while smooth:
        sizes = lengths / counts
        least = np.minimum(np.append(sizes[1:], np.inf), np.insert(sizes[:-1], 0, np.inf))
        rough = sizes > _JUMP * least * (1 + 1e-9)
        if not rough.any():
            break
        counts[rough] += 1
    steps = [np.linspace(a, b, n, endpoint=False) for a, b, n in zip(edges, edges[1:], counts, strict=False)]
    return np.append(np.concatenate(steps), edges[-1])


def combined(parts: Sequence[FloatArray]) -> FloatArray:
    """Return the largest of what each row adds to several errors, each in units of the error allowed."""
    return np.max(np.abs(parts), axis=0)
