# SPDX-License-Identifier: MIT
"""From what rows and columns of elements add to errors to the edges of the next mesh; pure arithmetic."""

import math

import numpy as np

from annelid.geometry.body import FloatArray, IntArray

__all__ = ["divided_edges", "growing_edges", "next_pieces", "with_lines"]

_ORDER = 3.0  # at which the part of a row decreases with its size: between smooth and singular places
_AIM = 0.7  # of the accuracy, so that the next mesh reaches it although the order is assumed
_LEAST = 0.5  # of the present error, so that no mesh is almost the same as the last one
_MOST = 3  # pieces of a row in one pass
_ROUND_DOWN = 0.3  # of a piece
_GROWTH = 3.0  # of sizes away from an edge
_NEAR = 0.35  # of an element, by which an edge may be moved onto a line
_JUMP = 4.0  # largest ratio of the sizes of neighbouring rows


def next_pieces(along: FloatArray, through: FloatArray, excess: float) -> tuple[IntArray, IntArray]:
    """Return in how many pieces each row and column should be, so that the error falls at the least cost.

    The parts of rows are assumed to fall with the third power of their size. One more piece costs the cells
    of a whole row or column.

    Args:
        along: What each row adds, shape (rows,), of any scale, not negative.
        through: What each column adds, shape (columns,).
        excess: Present error over the one allowed.
    """
    parts = np.concatenate([along, through])
    cost = np.concatenate([np.full(len(along), len(through)), np.full(len(through), len(along))])
    target = min(_AIM / excess, _LEAST) * parts.sum()

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


def growing_edges(low: float, high: float, least: float, most: float) -> FloatArray:
    """Return edges between two places with elements that grow from both towards the middle, mirrored.

    Args:
        low: First edge.
        high: Last edge.
        least: Size of the first element at either end, unless there is no room for two of them.
        most: Largest size.
    """
    sizes, half = [min(least, most)], (high - low) / 2
    while sum(sizes) < half * (1 + 1e-9):
        sizes.append(min(_GROWTH * sizes[-1], most))
    if len(sizes) > 1 and sum(sizes) > half + sizes[-1] / 2:
        sizes.pop()  # the others are stretched a little
    if len(sizes) == 1 and (high - low) <= min(least, most) * (1 + 1e-9):
        return np.array([low, high])
    ends = np.cumsum(sizes) * half / sum(sizes)
    return np.concatenate([[low], low + ends[:-1], [low + half], (high - ends[:-1])[::-1], [high]])


def with_lines(edges: FloatArray, lines: FloatArray, *, keep: FloatArray) -> FloatArray:
    """Return edges of which some lie on given lines: near ones are moved there, others are added.

    Args:
        edges: Edges, ascending.
        lines: Lines between them.
        keep: Edges that are not moved.
    """
    for line in lines:
        nearest = int(np.abs(edges - line).argmin())
        after = int(np.searchsorted(edges, line))
        near = abs(edges[nearest] - line) < _NEAR * (edges[after] - edges[after - 1])
        if near and not np.isclose(keep, edges[nearest], rtol=0, atol=1e-9 * np.ptp(edges)).any():
            edges = np.delete(edges, nearest)
        edges = np.sort(np.append(edges, line))
    return edges
