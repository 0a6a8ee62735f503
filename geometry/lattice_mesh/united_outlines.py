# SPDX-License-Identifier: MIT
"""Polygons united within one period of a pattern."""

from collections.abc import Sequence
from typing import Any

import numpy as np

from annelid.geometry.body import FloatArray

Outline = tuple[FloatArray, tuple[FloatArray, ...]]
"""A polygon: its outer corners, shape (k, 2), and the corners of its holes."""


def united(
    footprint: Sequence[Outline],
    period: tuple[float, float],
    origin: tuple[float, ...],
    tolerance: float,
    periodic: str,
) -> list[Outline]:
    """Return the polygons within the period, without overlaps and without details smaller than the tolerance.

    Copies beyond periodic edges are included in the simplification, so that both edges are treated in the
    same way. All rings are counter-clockwise: gmsh subtracts a hole only if its ring has the orientation of
    the outer ring.
    """
    import shapely
    from shapely import affinity

    union = shapely.union_all([shapely.Polygon(outer, holes) for outer, holes in footprint])
    shifts = [(-1, 0, 1, 2) if name in periodic else (0,) for name in "xy"]
    moves = [(i * period[0] - origin[0], j * period[1] - origin[1]) for i in shifts[0] for j in shifts[1]]
    copies = [affinity.translate(union, *move) for move in moves]
    area = shapely.union_all(copies, grid_size=tolerance * 1e-6)
    for step in (tolerance, -2 * tolerance, tolerance):
        area = shapely.buffer(area, step, join_style="mitre", mitre_limit=3.0)
    simplified = shapely.simplify(shapely.intersection(area, shapely.box(0.0, 0.0, *period)), tolerance)
    return [(outer, tuple(holes)) for outer, *holes in _rings(simplified, tolerance)]


def _rings(shape: Any, tolerance: float) -> list[list[FloatArray]]:
    """The rings of each polygon, beginning with the outer one; tiny polygons are omitted."""
    import shapely

    parts = [p for p in shapely.get_parts(shape) if p.geom_type == "Polygon" and p.area > tolerance**2]
    return [[_ccw(ring) for ring in (part.exterior, *part.interiors)] for part in parts]


def _ccw(ring: Any) -> FloatArray:
    corners = np.asarray(ring.coords, dtype=np.float64)[:-1]
    return corners.copy() if ring.is_ccw else corners[::-1].copy()
