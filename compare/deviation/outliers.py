# SPDX-License-Identifier: MIT
"""Points whose deviation is not that of their neighbours."""

from typing import NamedTuple

import numpy as np
from scipy.sparse import csr_array
from scipy.sparse.csgraph import connected_components

from annelid.compare.alignment.surface import BoolArray
from annelid.compare.deviation.signed import Deviations
from annelid.compare.scans.grouping import search_tree, spatial_order
from annelid.geometry.body import FloatArray, IntArray

_NEIGHBOURS = 12
_LONELY = 4.0  # medians of the distance to the last neighbour
_LINKS, _REACH = 8, 3.0  # nearest points that may be linked, and how far away, in the same medians
_STEP, _SLOPE = 5.0, 0.5  # largest step between linked points: standard deviations, or slope if this is more
_PATCH = 4  # points from which a patch is a layer
_OVER = 1.3  # medians within which another layer has twelve points beneath a point
_MAD = 1.4826  # standard deviation of normal errors over their median absolute deviation


class WithoutOutliers(NamedTuple):
    """Deviations without outliers.

    Attributes:
        kept: The other deviations.
        apart: How many were too far from their neighbours.
        lonely: How many had too few neighbours, as outliers within a hole.
        layered: How many were in a second layer over the surface, as ghosts are.
        noise: Robust standard deviation of a point from its neighbours, mm.
    """

    kept: Deviations
    apart: int
    lonely: int
    layered: int
    noise: float


def without_outliers(found: Deviations, *, most: float = 5.0) -> WithoutOutliers:
    """Remove points that differ from the median of the twelve nearest on the surface.

    Args:
        found: Deviations of the scan.
        most: Largest difference, in robust standard deviations of all differences.
    """
    if len(found.value) <= _NEIGHBOURS:
        return WithoutOutliers(found, 0, 0, 0, float("nan"))
    order = spatial_order(found.foot)
    foot, value = found.foot[order], found.value[order]
    distance, nearest = search_tree(foot).query(foot, k=_NEIGHBOURS + 1)
    around = value[nearest[:, 1:]]
    middle = np.median(around, axis=1)
    noise = _MAD * float(np.median(np.abs(value - middle)))
    lonely = distance[:, -1] > _LONELY * np.median(distance[:, -1])
    over, size = _over_the_surface(foot, value, ~lonely, (distance, nearest), noise)
    # What lies over the surface does not show where it is.
    beside = over[nearest[:, 1:]]
    disturbed = np.flatnonzero(beside.any(axis=1))
    around = np.where(beside[disturbed], np.nan, around[disturbed])
    middle[disturbed] = np.nanmedian(np.column_stack([around, value[disturbed]]), axis=1)
    apart = ~lonely & ~over & (np.abs(value - middle) > most * noise)
    kept = np.zeros(len(order), dtype=bool)
    kept[order[~(lonely | apart | over)]] = True
    single = apart | (over & (size < _PATCH))
    layered = int(over.sum() - (single & over).sum())
    return WithoutOutliers(found.chosen(kept), int(single.sum()), int(lonely.sum()), layered, noise)


def _over_the_surface(
    foot: FloatArray,
    value: FloatArray,
    left: BoolArray,
    neighbours: tuple[FloatArray, IntArray],
    noise: float,
) -> tuple[BoolArray, IntArray]:
    """Find points in patches that are cut off from the largest one and lie over it, as ghosts do.

    Neighbours are connected if noise or a slope explain their difference. A patch that is cut off but has no
    other one beneath it, such as a blob with steep sides, stays: it may be real.

    Args:
        foot: Partners on the surface, shape (n, 3), mm.
        value: Deviations, shape (n,), mm.
        left: Which points take part, shape (n,).
        neighbours: Distance and number of the nearest points, first the point itself, shape (n, 13).
        noise: Standard deviation of a point from its neighbours, mm.

    Returns:
        Which points these are, and the number of points in the patch of each point, both shape (n,).
    """
    distance, nearest = neighbours
    typical, none = float(np.median(distance[:, -1])), np.zeros(len(foot), dtype=bool)
    other, apart = nearest[:, 1 : _LINKS + 1], distance[:, 1 : _LINKS + 1]
    step = np.abs(value[:, None] - value[other])
    linked = left[:, None] & left[other] & (apart < _REACH * typical)
    linked &= step < np.maximum(_STEP * noise, _SLOPE * apart)
    ends = np.append(0, np.cumsum(linked.sum(axis=1)))
    links = csr_array((np.ones(ends[-1], dtype=np.int8), other[linked], ends), shape=(len(foot), len(foot)))
    group = connected_components(links, directed=False)[1]
    size = np.bincount(group, left).astype(np.int64)
    main = group == size.argmax()
    off = np.flatnonzero(left & ~main)
    if not len(off) or size.max() <= _NEIGHBOURS:
        return none, size[group]
    reach = search_tree(foot[main]).query(foot[off], k=[_NEIGHBOURS])[0][:, 0]
    over = np.bincount(group[off], reach < _OVER * typical, len(size)) / np.maximum(size, 1)
    none[off] = over[group[off]] > 0.5
    return none, size[group]
