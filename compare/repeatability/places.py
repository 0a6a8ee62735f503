# SPDX-License-Identifier: MIT
"""Places of the simulated surface at which all scans are looked at, and rings of them about the axis."""

from typing import NamedTuple

import numpy as np

from annelid.compare.alignment.surface import NominalSurface
from annelid.compare.comparison.map_surface import SPOT, fine_surface
from annelid.geometry.body import FloatArray, IntArray

_FINENESS = 60  # edges between places over the diagonal of the surface


class Places(NamedTuple):
    """Places of the simulated surface at which all scans are looked at.

    Attributes:
        points: Shape (m, 3), mm.
        triangles: Shape (t, 3).
        weight: Share of each place in the area, shape (m,).
        normals: Outward unit normals, shape (m, 3).
        spot: Smallest radius around a place from which the median is taken, mm.
        ring: Number of the ring about the axis Z in which each place is, shape (m,).
    """

    points: FloatArray
    triangles: IntArray
    weight: FloatArray
    normals: FloatArray
    spot: float
    ring: IntArray


def places_of(surface: NominalSurface, *, fineness: int = _FINENESS) -> Places:
    """Return places of a surface, with so many edges between them over its diagonal."""
    points, triangles = fine_surface(surface, fineness=fineness)
    fine = NominalSurface(points, triangles)
    weight = np.bincount(triangles.ravel(), np.repeat(fine.areas / 3.0, 3), len(points))
    spot = SPOT * float(np.linalg.norm(np.ptp(surface.points, axis=0)))
    ring = rings(points, spot)
    return Places(points, triangles, weight / weight.sum(), fine.vertex_normals, spot, ring)


def rings(points: FloatArray, width: float) -> IntArray:
    """Number of the ring about the axis Z, so wide (mm) along radius and height, of points, shape (m,)."""
    meridian = np.column_stack([np.hypot(points[:, 0], points[:, 1]), points[:, 2]])
    return np.asarray(np.unique(np.floor(meridian / width), axis=0, return_inverse=True)[1]).ravel()


def ring_means(field: FloatArray, ring: IntArray) -> FloatArray:
    """Replace a field by its mean over each ring about the axis, where it is known; shape (m,)."""
    known = np.isfinite(field)
    number = np.bincount(ring[known], minlength=int(ring.max()) + 1)
    total = np.bincount(ring[known], field[known], minlength=len(number))
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.asarray((total / number)[ring])
