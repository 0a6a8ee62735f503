# SPDX-License-Identifier: MIT
"""The simulated surface with the deviations at its points, finely divided so that these show."""

from typing import NamedTuple

import numpy as np
import pyvista as pv

from annelid.compare.comparison.compared import Comparison
from annelid.compare.deviation.coverage import SurfaceDeviations, surface_deviations
from annelid.geometry.body import FloatArray, IntArray

_FINENESS = 100  # edges over the diagonal of the surface
_SPOT, _NEIGHBOURS = 0.012, 60  # radius of a place of the map over this diagonal, and its most points
_PASSES = 6


class MapSurface(NamedTuple):
    """A surface with deviations.

    Attributes:
        points: Shape (n, 3), mm.
        triangles: Shape (t, 3).
        deviation: Median deviation of the scan around each point, ``nan`` where there is none, shape (n,),
            mm.
        spot: Radius around a point from which the median is taken, mm.
    """

    points: FloatArray
    triangles: IntArray
    deviation: FloatArray
    spot: float


def map_surface(compared: Comparison) -> MapSurface:
    """Return the simulated surface with the deviations of a comparison."""
    surface = compared.part.surface
    longest = _diagonal(compared) / _FINENESS
    mesh = pv.PolyData.from_regular_faces(surface.points, surface.triangles)
    fine = mesh.subdivide_adaptive(max_edge_len=longest, max_n_passes=_PASSES)
    points = np.asarray(fine.points, dtype=float)
    triangles = np.asarray(fine.regular_faces, dtype=np.int64)
    seen = mapped(compared, points)
    return MapSurface(points, triangles, seen.value, seen.radius)


def mapped(compared: Comparison, places: FloatArray) -> SurfaceDeviations:
    """Return the deviations at places of a map, shape (n, 3), mm: medians over spots that hide the noise."""
    radius = max(_SPOT * _diagonal(compared), compared.seen.radius)
    surface = compared.part.surface
    return surface_deviations(compared.kept, surface, places=places, radius=radius, neighbours=_NEIGHBOURS)


def _diagonal(compared: Comparison) -> float:
    return float(np.linalg.norm(np.ptp(compared.part.surface.points, axis=0)))
