# SPDX-License-Identifier: MIT
"""Scans of the invented tube, already in place, of parts and by operators with prescribed deviations."""

from pathlib import Path

import numpy as np

from annelid.compare.comparison.map_surface import spot_deviations
from annelid.compare.deviation.coverage import surface_deviations
from annelid.compare.deviation.quantities import Measures
from annelid.compare.deviation.signed import deviations
from annelid.compare.repeatability.listing import ListedScan
from annelid.compare.repeatability.scan_fields import ScanField, in_other_poses
from annelid.compare.repeatability.scan_measures import all_measures

NOISE = 0.01
"""Standard deviation of a point along the normal, mm."""


def placed_scan(part, places, field, entry, *, seed=0, count=4000, hole=None, motions=()):
    """What is taken from a scan whose deviation (mm) is a function of height (mm) and angle (rad).

    Args:
        part: The simulated tube.
        places: Places of its surface.
        field: The function.
        entry: Row of the list: name of the file, part, operator, repeat, method.
        seed: Of the random numbers.
        count: Number of points.
        hole: Range of angles without points.
        motions: Motions into other poses in which the scan fits as well.
    """
    points, triangle = part.surface.sampled(count, seed=seed)
    angle = np.arctan2(points[:, 1], points[:, 0])
    value = field(points[:, 2], angle) + np.random.default_rng(seed).normal(0.0, NOISE, count)
    moved = points + value[:, None] * part.surface.normals[triangle]
    if hole is not None:
        moved = moved[(angle < hole[0]) | (angle > hole[1])]
    found = deviations(moved, part.locator, reach=part.reach)
    measures = Measures(part.radii)(found, surface_deviations(found, part.surface))
    name, *labels = entry
    listed = ListedScan(Path(name), *[*labels, "", "", ""][:4], "mm", None)
    spots = spot_deviations(found, part.surface, places.points, 0.7)
    return ScanField(
        listed,
        spots.value,
        all_measures(measures, found, part),
        len(moved) / count,
        name,
        True,
        False,
        in_other_poses(part, places, found.points, motions, 0.7),
        0,
        spots.radius,
    )
