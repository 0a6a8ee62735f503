# SPDX-License-Identifier: MIT
"""Equal rows, cells of a grid and connected groups of points, for millions of points."""

import math
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components
from scipy.spatial import KDTree

from annelid.geometry.body import FloatArray, IntArray


def first_of_equal_rows(rows: NDArray[Any]) -> tuple[IntArray, IntArray]:
    """Return the first member of each group of equal rows, ascending, and the group of each row.

    This is an order of magnitude faster than ``np.unique`` over an axis.

    Args:
        rows: Shape (n, k).

    Returns:
        Row numbers, shape (g,), and for each row the position of its group in them, shape (n,).
    """
    keys = _packed(rows) if rows.dtype == np.int64 and len(rows) else rows
    order = np.lexsort(keys.T)  # stable, so the first of equal rows stays the first
    arranged = keys[order]
    starts = np.ones(len(rows), dtype=bool)
    starts[1:] = (arranged[1:] != arranged[:-1]).any(axis=1)
    first = order[starts]
    position = np.empty(len(first), dtype=np.int64)
    position[np.argsort(first)] = np.arange(len(first))
    group = np.empty(len(rows), dtype=np.int64)
    group[order] = position[np.cumsum(starts) - 1]
    return np.sort(first), group


def cell_numbers(points: FloatArray, edge: float) -> IntArray:
    """Return the integer coordinates of the cubes of a grid in which points are, shape (n, 3)."""
    low = np.array([column.min() for column in points.T])  # by columns ten times faster (measured)
    extent = max(float(np.ptp(column)) for column in points.T)
    resolved = max(edge, 1e-15 * extent, 1e-300)
    return np.floor((points - low) / resolved).astype(np.int64)


def spatial_order(points: FloatArray) -> IntArray:
    """Return an order of points in which neighbours are close, shape (n,); equal points keep their order.

    Of a million points in this order the nearest neighbours are found three times faster than in a random
    one (measured).
    """
    edge = max((float(np.ptp(column)) for column in points.T), default=0.0) / 128.0
    cells = _packed(cell_numbers(points, edge)[:, ::-1])
    return np.lexsort(cells.T)


def _packed(rows: IntArray) -> IntArray:
    """Rows of numbers as one number each, shape (n, 1), in the order of their columns if they fit."""
    low = np.array([column.min() for column in rows.T], dtype=np.int64)
    spans = [int(column.max()) - int(least) + 1 for column, least in zip(rows.T, low, strict=True)]
    if math.prod(spans) >= 2**63:
        return rows[:, ::-1]
    packed = np.zeros(len(rows), dtype=np.int64)
    for column, least, span in zip(rows.T, low, spans, strict=True):
        packed = packed * span + (column - least)
    return packed[:, None]


def search_tree(points: FloatArray | IntArray) -> KDTree:
    """Return a tree for the nearest of points, shape (n, 3).

    Split at middles instead of medians, it is made in half the time, and searches are a tenth faster
    (measured with a million points).
    """
    return KDTree(points, balanced_tree=False)


def connected_groups(points: FloatArray, reach: float) -> IntArray:
    """Return the group of each point, shape (n,), where points in touching cubes are in one group.

    Two points closer than ``reach``, the edge of the cubes, are always connected; two groups are always
    connected if they come closer than that, and never if they stay farther apart than 2 √3 ``reach``.
    """
    cells = cell_numbers(points, reach)
    first, members = first_of_equal_rows(cells)
    pairs = search_tree(cells[first]).query_pairs(1.5, p=np.inf, output_type="ndarray")
    links = coo_array((np.ones(len(pairs), dtype=bool), pairs.T), shape=(len(first), len(first)))
    _, groups = connected_components(links, directed=False)
    return np.asarray(groups[members], dtype=np.int64)
