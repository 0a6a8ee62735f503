# SPDX-License-Identifier: MIT
"""The simulated surface with the deviations at its points, finely divided so that these show."""

from typing import NamedTuple

import numpy as np
import pyvista as pv
from scipy.spatial import KDTree

from annelid.compare.alignment.surface import NominalSurface
from annelid.compare.comparison.compared import Comparison
from annelid.compare.deviation.coverage import SurfaceDeviations, surface_deviations
from annelid.compare.deviation.signed import Deviations
from annelid.geometry.body import FloatArray, IntArray

_FINENESS = 100  # edges over the diagonal of the surface
SPOT = 0.012
"""Radius of a place of a map over this diagonal."""
_NEIGHBOURS = 60  # most points of a place
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
    points, triangles = fine_surface(compared.part.surface)
    seen = mapped(compared, points)
    return MapSurface(points, triangles, seen.value, seen.radius)


def fine_surface(surface: NominalSurface, *, fineness: int = _FINENESS) -> tuple[FloatArray, IntArray]:
    """Divide a surface so that an edge is the diagonal over ``fineness`` at most.

    Returns:
        Its points, shape (n, 3), mm, and triangles, shape (t, 3).
    """
    mesh = pv.PolyData.from_regular_faces(surface.points, surface.triangles)
    fine = mesh.subdivide_adaptive(max_edge_len=_diagonal(surface) / fineness, max_n_passes=_PASSES)
    return np.asarray(fine.points, dtype=float), np.asarray(fine.regular_faces, dtype=np.int64)


def mapped(compared: Comparison, places: FloatArray) -> SurfaceDeviations:
    """Return the deviations at places of a map, shape (n, 3), mm: medians over spots that hide the noise."""
    surface, least = compared.part.surface, compared.seen.radius
    return spot_deviations(compared.kept, surface, places, least, tree=compared.tree)


def spot_deviations(
    found: Deviations,
    surface: NominalSurface,
    places: FloatArray,
    least: float,
    *,
    tree: KDTree | None = None,
) -> SurfaceDeviations:
    """Return the medians over spots of at least a radius (mm) around places, shape (n, 3), mm."""
    radius = max(SPOT * _diagonal(surface), least)
    return surface_deviations(found, surface, places=places, radius=radius, neighbours=_NEIGHBOURS, tree=tree)


def _diagonal(surface: NominalSurface) -> float:
    return float(np.linalg.norm(np.ptp(surface.points, axis=0)))
