# SPDX-License-Identifier: MIT
"""Deviations seen from the surface: a value for each part of its area, or none where the scan has a hole."""

from typing import NamedTuple

import numpy as np
from scipy.spatial import KDTree

from annelid.compare.alignment.surface import BoolArray, NominalSurface
from annelid.compare.deviation.signed import Deviations
from annelid.compare.scans.grouping import search_tree
from annelid.geometry.body import FloatArray

_SAMPLES = 20_000
_NEIGHBOURS = 8
_FEWEST = 3  # points around a covered place; single outliers cover nothing


class SurfaceDeviations(NamedTuple):
    """Deviations at places spread evenly over the area of the surface, so that plain means are area means.

    Attributes:
        place: Shape (n, 3), mm.
        value: Median deviation of the scan around each place, ``nan`` where there is none, shape (n,), mm.
        covered: Whether there is one, shape (n,).
        coverage: Covered share of the area, 0 to 1.
        radius: Partners within this distance belong to a place, mm.
        normal: Outward normal of the surface at the nearest partner of each place, shape (n, 3).
    """

    place: FloatArray
    value: FloatArray
    covered: BoolArray
    coverage: float
    radius: float
    normal: FloatArray


def surface_deviations(
    found: Deviations,
    surface: NominalSurface,
    *,
    places: FloatArray | None = None,
    radius: float | None = None,
    neighbours: int = _NEIGHBOURS,
    tree: KDTree | None = None,
) -> SurfaceDeviations:
    """Take the median of the deviations around places of the surface.

    Args:
        found: Deviations of the scan.
        surface: The surface.
        places: Where, shape (n, 3), mm; by default spread evenly over the area.
        radius: Distance within which partners belong to a place, mm; by default that within which there are
            so many neighbours at three quarters of the places of the scan.
        neighbours: Largest number of partners that belong to a place, the nearest.
        tree: Search for the partners, if there is one already.
    """
    places = surface.sampled(_SAMPLES)[0] if places is None else places
    tree = tree or search_tree(found.foot)
    count = min(neighbours, len(found.foot))
    if radius is None:
        few = found.foot[np.linspace(0, len(found.foot) - 1, min(len(found.foot), 2000)).astype(int)]
        radius = float(np.percentile(tree.query(few, k=[count])[0], 75))
    distance, nearest = tree.query(places, k=np.arange(1, count + 1), distance_upper_bound=radius)
    near = np.isfinite(distance)
    values = np.where(near, np.append(found.value, np.nan)[nearest], np.nan)
    covered = near.sum(axis=1) >= min(_FEWEST, count)
    value = np.full(len(places), np.nan)
    value[covered] = np.nanmedian(values[covered], axis=1)
    normal = found.normal[np.minimum(nearest[:, 0], len(found.foot) - 1)]
    return SurfaceDeviations(places, value, covered, float(covered.mean()), radius, normal)
