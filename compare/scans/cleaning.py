# SPDX-License-Identifier: MIT
"""Cleaning of scans: which points are no measurement of the surface, and why.

Rubber lets light through and reflects it. Laser scans of it have single outliers, patches that float beside
the part where the light was reflected twice, and unreliable points where it is returned at a grazing angle or
saturates the sensor.
"""

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from annelid.compare.scans.cleaning_settings import Cleaning
from annelid.compare.scans.cleaning_steps import STEPS, point_spacing
from annelid.compare.scans.grouping import spatial_order
from annelid.compare.scans.point_cloud import PointCloud
from annelid.geometry.body import IntArray
from annelid.geometry.errors import InvalidValue

KEPT = -1
"""Stands for points that no step removed."""


class CleaningStep(NamedTuple):
    """One step of the cleaning.

    Attributes:
        name: Name of the step.
        points_in: Points before it.
        points_out: Points after it.
        why: What was removed, or why the step was left out.
    """

    name: str
    points_in: int
    points_out: int
    why: str


@dataclass(frozen=True)
class CleanedScan:
    """A cleaned scan.

    Attributes:
        cloud: The points that are left, in their order, with the triangles between them (None after
            down-sampling).
        steps: The steps in their order.
        removed: For each point of the scan the position in ``steps`` of the step that removed it, or
            ``KEPT``, shape (n,).
        spacing_mm: Spacing of the points of the scan.
    """

    cloud: PointCloud
    steps: tuple[CleaningStep, ...]
    removed: IntArray
    spacing_mm: float


def clean(cloud: PointCloud, settings: Cleaning | None = None) -> CleanedScan:
    """Remove step by step what is no good measurement of the surface.

    Args:
        cloud: The scan.
        settings: What is removed, by default everything but by ``voxel``.

    Raises:
        InvalidValue: Fewer than three different points are given, or all of them would be removed.
    """
    chosen = settings or Cleaning()
    order = spatial_order(cloud.points)
    ordered = _subset(cloud, order, with_faces=False)
    spacing = point_spacing(ordered.points)
    removed = np.full(len(order), KEPT, dtype=np.int64)
    steps: list[CleaningStep] = []
    for name, step in STEPS.items():
        left = np.flatnonzero(removed == KEPT)
        out, why = step(_subset(ordered, left, with_faces=False), chosen, spacing)
        removed[left[out]] = len(steps)
        steps.append(CleaningStep(name, len(left), len(left) - len(out), why))
    removed[order] = removed.copy()
    kept = np.flatnonzero(removed == KEPT)
    if not len(kept):
        table = ", ".join(f"{step.name} {step.points_in - step.points_out}" for step in steps)
        raise InvalidValue(f"would remove all points of the scan ({table})", subject="cleaning")
    left_cloud = _subset(cloud, kept, with_faces=not (chosen.voxel or chosen.voxel_mm))
    return CleanedScan(left_cloud, tuple(steps), removed, spacing)


def _subset(cloud: PointCloud, kept: IntArray, *, with_faces: bool) -> PointCloud:
    number = np.full(len(cloud.points), -1, dtype=np.int64)
    number[kept] = np.arange(len(kept))
    faces = None if cloud.faces is None or not with_faces else number[cloud.faces]
    return PointCloud(
        cloud.points[kept],
        None if cloud.normals is None else cloud.normals[kept],
        None if cloud.intensities is None else cloud.intensities[kept],
        None if faces is None else faces[(faces >= 0).all(axis=1)],
    )
