# SPDX-License-Identifier: MIT
"""Nominal surfaces in closed form, and scans of them with noise, holes and outliers in any pose."""

import numpy as np
import pyvista as pv
from scipy.spatial.transform import Rotation

from annelid.compare.alignment.nominal import nominal_mesh
from annelid.compare.alignment.poses import Pose
from annelid.results.fields.facets import revolved


def around_axis(radius, heights, around=120):
    """A surface whose radius is a function of height and angle, open at both ends."""
    angle = 2.0 * np.pi * np.arange(around) / around
    z, θ = np.meshgrid(heights, angle)
    r = radius(z, θ)
    points = np.stack([r * np.cos(θ), r * np.sin(θ), z], axis=-1).reshape(-1, 3)
    numbers = np.arange(len(heights))
    lines = np.column_stack([numbers[1:], numbers[:-1]])
    triangles = revolved(lines, len(heights), around, full=True)
    surface = nominal_mesh(points, triangles)
    middle = surface.corners.mean(axis=1)
    outward = (surface.normals[:, :2] * middle[:, :2]).sum() > 0
    return surface if outward else nominal_mesh(points, triangles[:, ::-1])


def tube(radius=15.0, length=60.0, around=360, along=61):
    return around_axis(lambda z, θ: radius + 0.0 * z, np.linspace(0.0, length, along), around)


def _balloon_radius(z):
    return 4.0 + 0.03 * z + 10.0 * np.exp(-(((z - 42.0) / 20.0) ** 2))


def balloon():
    """An invented balloon with a short, narrow and a long, wide neck."""
    return around_axis(lambda z, θ: _balloon_radius(z), np.linspace(0, 100, 101))


def seamed_balloon(seam=0.8):
    """The same with a seam along it."""

    def radius(z, θ):
        return _balloon_radius(z) + seam * np.exp(-(((θ - 1.0) / 0.1) ** 2))

    return around_axis(radius, np.linspace(0, 100, 101))


def ball(radius=1.0, half_axes=(1.0, 1.0, 1.0), fineness=6):
    mesh = pv.Icosphere(radius=radius, nsub=fineness)
    return nominal_mesh(np.asarray(mesh.points, dtype=float) * half_axes, mesh.regular_faces)


def even_directions(count):
    """Unit vectors that share the sphere evenly (spiral of golden angles), shape (count, 3)."""
    z = 1.0 - (2.0 * np.arange(count) + 1.0) / count
    θ = np.pi * (3.0 - np.sqrt(5.0)) * np.arange(count)
    r = np.sqrt(1.0 - z**2)
    return np.column_stack([r * np.cos(θ), r * np.sin(θ), z])


def invented_scan(surface, seed, *, count=3000, holes=0.3, outliers=0.05, noise=0.005):
    """Points of a surface in a random pose, and the pose that brings them back.

    Args:
        surface: The surface.
        seed: Of the random numbers.
        count: Number of points.
        holes: Share of the area in three holes.
        outliers: Share of the points that are anywhere in a box around the surface.
        noise: Standard deviation of each coordinate, as share of the diameter.
    """
    rng = np.random.default_rng(seed)
    points = surface.sampled(round(count / (1.0 - holes)), seed=seed)[0]
    hole = round(holes * len(points) / 3)
    for _ in range(3):
        distance = np.linalg.norm(points - points[rng.integers(len(points))], axis=1)
        points = points[np.sort(distance.argsort()[hole:])]
    points = rng.permutation(points) + rng.normal(0.0, noise * surface.diameter, points.shape)
    number = round(outliers * len(points))
    margin = 0.3 * surface.diameter
    low, high = points.min(axis=0) - margin, points.max(axis=0) + margin
    points[:number] = rng.uniform(low, high, (number, 3))
    rotation = Rotation.random(rng=rng).as_matrix()
    shift = rng.uniform(-500.0, 500.0, 3)
    return points @ rotation.T + shift, Pose(rotation.T, -rotation.T @ shift)
