# SPDX-License-Identifier: MIT
"""Points of a surface that a distant scanner sees."""

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from annelid.compare.invented.scanned_surface import ScannedSurface
from annelid.geometry.body import FloatArray, IntArray
from annelid.geometry.errors import InvalidValue

_CELLS = 2.0  # edge of the cells of the depth image, in spacings of the points
_MOST_POINTS = 20_000_000


class PointsSeen(NamedTuple):
    """Points on a surface.

    Attributes:
        positions: Shape (n, 3), mm.
        normals: Unit normals, shape (n, 3).
        thickness: Thickness of the wall beneath them, shape (n,), mm; zero if it is unknown.
        cosine: Cosine of the angle between normal and direction to the scanner, shape (n,).
    """

    positions: FloatArray
    normals: FloatArray
    thickness: FloatArray
    cosine: FloatArray

    def subset(self, chosen: IntArray) -> "PointsSeen":
        """The chosen points."""
        return PointsSeen(*(values[chosen] for values in self))


def seen_points(
    surface: ScannedSurface,
    direction: FloatArray,
    *,
    spacing: float,
    grazing_angle_deg: float,
    random: np.random.Generator,
) -> PointsSeen:
    """Return random points of the surface as a scanner of even resolution sees them.

    Seen is what does not lie behind another point of the surface and is not inclined too much. The number
    of points per area is that of the scanner times the cosine of the inclination.

    Args:
        surface: The surface.
        direction: Unit direction from the scanner to the part, shape (3,).
        spacing: Spacing of the points where the surface is seen along its normal, mm.
        grazing_angle_deg: Largest inclination that is seen.
        random: Generator of random numbers.

    Raises:
        InvalidValue: The spacing is too fine for this surface.
    """
    points = _scattered(surface, direction, 1.0 / spacing**2, random)
    if not len(points.cosine):
        return points
    slope = np.tan(np.radians(grazing_angle_deg))
    in_front = _in_front(points.positions, direction, _CELLS * spacing, slope)
    facing = points.cosine > np.cos(np.radians(grazing_angle_deg))
    hit = random.random(len(facing)) < points.cosine
    return points.subset(np.flatnonzero(in_front & facing & hit))


def _scattered(
    surface: ScannedSurface, direction: FloatArray, density: float, random: np.random.Generator
) -> PointsSeen:
    """Evenly distributed random points, with the normal of their triangle."""
    a, b, c = np.moveaxis(surface.points[surface.triangles], 1, 0)
    across = np.cross(b - a, c - a)
    area = np.linalg.norm(across, axis=1) / 2.0
    count = round(area.sum() * density)
    if count > _MOST_POINTS:
        problem = f"would give {count:.1e} points on this surface; at most {_MOST_POINTS:.0e} are allowed"
        raise InvalidValue(problem, key="spacing", subject="invented scanner")
    chosen = random.choice(len(area), size=count, p=area / area.sum())
    u, v = random.random((2, len(chosen)))
    weights = np.column_stack([1.0 - np.sqrt(u), np.sqrt(u) * (1.0 - v), np.sqrt(u) * v])
    corners = surface.triangles[chosen]
    thickness = np.zeros(len(surface.points)) if surface.thickness is None else surface.thickness
    normals = across[chosen] / (2.0 * area[chosen, None])
    return PointsSeen(
        np.einsum("nk,nkj->nj", weights, surface.points[corners]),
        normals,
        (weights * thickness[corners]).sum(axis=1),
        -normals @ direction,
    )


def _in_front(positions: FloatArray, direction: FloatArray, edge: float, slope: float) -> NDArray[np.bool_]:
    """Whether points are the first ones in their cell of a depth image, but for the slope inside a cell."""
    _, _, axes = np.linalg.svd(direction[None])
    across = np.floor((positions @ axes[1:].T) / edge).astype(np.int64)
    across -= across.min(axis=0)
    cell = across[:, 0] * (across[:, 1].max() + 1) + across[:, 1]
    depth = positions @ direction
    first = np.full(cell.max() + 1, np.inf)
    np.minimum.at(first, cell, depth)
    return np.asarray(depth <= first[cell] + np.sqrt(2.0) * edge * slope)
