# SPDX-License-Identifier: MIT
"""Signed distances of an aligned scan from the simulated surface, and what has no partner there."""

from typing import NamedTuple

import numpy as np

from annelid.compare.alignment.closest import SurfaceLocator
from annelid.compare.alignment.surface import BoolArray
from annelid.geometry.body import FloatArray, IntArray


class Deviations(NamedTuple):
    """Deviations of the points of a scan that have a partner on the surface.

    Attributes:
        points: The aligned points, shape (n, 3), mm.
        value: Distance along the normal of the surface, positive outside, shape (n,), mm.
        foot: Partner of each point, shape (n, 3), mm.
        normal: Outward unit normal of the surface there, shape (n, 3).
        triangle: Triangle of the surface, shape (n,).
        number: Number of each point in the scan, shape (n,).
        beyond_edges: How many points are beyond open edges of the surface, and so have no partner.
        too_far: How many are farther from it than the reach.
        turned_away: How many have a normal against that of the surface, as on the other face of a wall.
    """

    points: FloatArray
    value: FloatArray
    foot: FloatArray
    normal: FloatArray
    triangle: IntArray
    number: IntArray
    beyond_edges: int
    too_far: int
    turned_away: int

    def chosen(self, which: BoolArray | IntArray) -> "Deviations":
        """Return some of the deviations."""
        names = ("points", "value", "foot", "normal", "triangle", "number")
        return self._replace(**{name: getattr(self, name)[which] for name in names})


def deviations(
    points: FloatArray,
    locator: SurfaceLocator,
    *,
    normals: FloatArray | None = None,
    reach: float | None = None,
) -> Deviations:
    """Measure the distance of aligned points from a surface.

    Args:
        points: Shape (n, 3), in the frame of the surface, mm.
        locator: The surface.
        normals: Unit normals of the scan in the same frame, shape (n, 3), if they are known.
        reach: Largest distance of a partner, mm; by default there is none.
    """
    closest = locator.closest(points)
    normal = locator.surface.normals[closest.triangle]
    far = np.abs(closest.signed) > (np.inf if reach is None else reach)
    against = np.zeros(len(points), dtype=bool)
    if normals is not None:
        against = np.einsum("ni,ni->n", normals, normal) < 0
    number = np.flatnonzero(~(closest.beyond | far | against))
    return Deviations(
        points[number],
        closest.signed[number],
        closest.foot[number],
        normal[number],
        closest.triangle[number],
        number,
        int(closest.beyond.sum()),
        int((far & ~closest.beyond).sum()),
        int((against & ~far & ~closest.beyond).sum()),
    )
