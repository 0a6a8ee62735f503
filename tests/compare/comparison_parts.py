# SPDX-License-Identifier: MIT
"""Scans of the invented tube with a prescribed deviation."""

import numpy as np
from scipy.spatial.transform import Rotation

from annelid.compare.scans.point_cloud import PointCloud
from annelid.compare.scans.writing import write_scan

NOISE = 0.01
"""Standard deviation along the normal, mm."""


def deviating_scan(surface, field, *, seed=0, count=6000):
    """Points of a surface moved along its normals by a field and noise, and the pose of the scan.

    Args:
        surface: The surface.
        field: Deviation (mm) as a function of height (mm) and angle (rad).
        seed: Of the random numbers.
        count: Number of points.

    Returns:
        Points, shape (count, 3), the prescribed deviations, shape (count,), and rotation and shift, which
        take the frame of the part to that of the scan.
    """
    places, triangle = surface.sampled(count, seed=seed)
    value = field(places[:, 2], np.arctan2(places[:, 1], places[:, 0]))
    rng = np.random.default_rng(seed)
    points = places + (value + rng.normal(0.0, NOISE, count))[:, None] * surface.normals[triangle]
    rotation, shift = Rotation.random(rng=rng).as_matrix(), rng.uniform(-50.0, 50.0, 3)
    return points @ rotation.T + shift, value, rotation, shift


def write_points(path, points):
    """Write points as a scan; its header says that it is invented."""
    comment = "invented scan, computed from a simulation: no part was measured"
    write_scan(PointCloud(points, None, None, None), path, comments=[comment])
    return path
