# SPDX-License-Identifier: MIT
"""The radius of the simulated surface over height and angle about the axis Z."""

from dataclasses import dataclass

import numpy as np
import pyvista as pv
from scipy.interpolate import RegularGridInterpolator

from annelid.compare.alignment.surface import NominalSurface
from annelid.geometry.body import FloatArray
from annelid.geometry.errors import InputError

_HEIGHTS, _ANGLES = 101, 181
_DECIMALS = 9  # of the angles of corners, rad: nearer ones are one corner


@dataclass(frozen=True)
class RadiusField:
    """Radius over height and angle.

    Attributes:
        heights: Shape (h,), mm, increasing.
        angles: From -pi to pi, both included, shape (a,), rad.
        radius: Shape (h, a), mm.
    """

    heights: FloatArray
    angles: FloatArray
    radius: FloatArray

    def at(self, height: FloatArray, angle: FloatArray) -> FloatArray:
        """Return the radius at heights (mm, those of the ends beyond them) and angles (rad)."""
        field = RegularGridInterpolator((self.heights, self.angles), self.radius)
        inside = np.clip(height, self.heights[0], self.heights[-1])
        return np.asarray(field(np.column_stack([inside, np.clip(angle, -np.pi, np.pi)])))


def radius_field(surface: NominalSurface, *, heights: int = _HEIGHTS, angles: int = _ANGLES) -> RadiusField:
    """Cut a surface at heights and return its radius about the axis Z.

    Args:
        surface: The surface; each of its sections goes once around the axis.
        heights: Number of sections, over the whole height.
        angles: Number of angles, both ends included.

    Raises:
        InputError: No section goes around the axis.
    """
    mesh = pv.PolyData.from_regular_faces(surface.points, surface.triangles)
    low, high = surface.points[:, 2].min(), surface.points[:, 2].max()
    # The first and the last section lie slightly inside, because a plane through an edge cuts nothing.
    inset = 1e-6 * (high - low)
    θ = np.linspace(-np.pi, np.pi, angles)
    z = np.linspace(low + inset, high - inset, heights)
    radius = np.array([_section(mesh, height, θ) for height in z])
    known = np.isfinite(radius).all(axis=1)
    if known.sum() < 2:
        raise InputError(f"{surface.name}: its sections do not go around the axis Z, so it has no radii.")
    return RadiusField(z[known], θ, radius[known])


def polar(points: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return radius (mm) and angle (rad) of points about the axis Z."""
    return np.hypot(points[:, 0], points[:, 1]), np.arctan2(points[:, 1], points[:, 0])


def _section(mesh: pv.PolyData, height: float, angles: FloatArray) -> FloatArray:
    """Where rays from the axis meet the polygon that is the section, once around the axis."""
    cut = np.asarray(mesh.slice(normal="z", origin=(0.0, 0.0, height)).points, dtype=float)
    if len(cut) < 3:
        return np.full(len(angles), np.nan)
    angle, first = np.unique(np.round(polar(cut)[1], _DECIMALS), return_index=True)
    if np.diff(angle, append=angle[0] + 2.0 * np.pi).max() > np.pi:
        return np.full(len(angles), np.nan)
    corner = np.searchsorted(angle, angles, side="right") - 1
    (x0, y0), (x1, y1) = (cut[first][(corner + i) % len(angle), :2].T for i in (0, 1))
    return np.asarray((x0 * y1 - y0 * x1) / (np.cos(angles) * (y1 - y0) - np.sin(angles) * (x1 - x0)))
