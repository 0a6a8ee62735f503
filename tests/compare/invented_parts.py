# SPDX-License-Identifier: MIT
"""Surfaces in closed form that an invented scanner looks at."""

import numpy as np

from annelid.compare.invented.scanned_surface import ScannedSurface
from annelid.results.views.rendering import pyvista_off_screen


def ball(radius=10.0, *, half_axes=(1.0, 1.0, 1.0), thickness=None, fineness=120):
    """A sphere or an ellipsoid around the origin."""
    mesh = pyvista_off_screen().Sphere(radius=radius, theta_resolution=fineness, phi_resolution=fineness)
    points = np.asarray(mesh.points, dtype=float) * half_axes
    wall = None if thickness is None else thickness(points)
    return ScannedSurface(points, mesh.regular_faces, wall)


def bulged_tube(fineness=96):
    """An open tube of radius 8 mm and length 60 mm with a bulge of 4 mm, not quite round."""
    angle, height = 2.0 * np.pi * np.arange(fineness) / fineness, np.linspace(-30.0, 30.0, fineness + 1)
    a, z = np.meshgrid(angle, height, indexing="ij")
    radius = 8.0 + 4.0 * np.exp(-((z / 10.0) ** 2)) + 0.3 * np.cos(3.0 * a)
    points = np.stack([radius * np.cos(a), radius * np.sin(a), z], axis=-1).reshape(-1, 3)
    here = np.arange(fineness)[:, None] * (fineness + 1) + np.arange(fineness)
    after = (here + fineness + 1) % len(points)
    first = np.stack([here, after, after + 1], axis=-1).reshape(-1, 3)
    second = np.stack([here, after + 1, here + 1], axis=-1).reshape(-1, 3)
    return ScannedSurface(points, np.concatenate([first, second]))


def two_balls():
    """A ball of radius 5 mm and, 30 mm behind it along X, one of radius 4 mm."""
    front, behind = ball(5.0), ball(4.0)
    return ScannedSurface(
        np.concatenate([front.points, behind.points + np.array([30.0, 0.0, 0.0])]),
        np.concatenate([front.triangles, behind.triangles + len(front.points)]),
    )
