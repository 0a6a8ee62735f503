# SPDX-License-Identifier: MIT
"""Units of length of scans, which most files do not state."""

import math
from typing import NamedTuple

import numpy as np

from annelid.compare.scans.point_cloud import PointCloud
from annelid.geometry.errors import InvalidValue

UNITS = {"µm": 1e-3, "mm": 1.0, "cm": 10.0, "in": 25.4, "m": 1000.0}
"""Millimetres in each unit."""
_SAME_UNIT = 2.0  # largest ratio of sizes in one unit: a scan may lack half of the part, or be blown up


class UnitCheck(NamedTuple):
    """Whether the size of a scan fits the part.

    Attributes:
        plausible: Whether it fits in the unit in which the scan was read.
        likelier: The unit that fits best; "" if none fits.
        size_mm: Size of the scan in the unit in which it was read, mm.
        text: One sentence for the user.
    """

    plausible: bool
    likelier: str
    size_mm: float
    text: str


def unit_scale(unit: str) -> float:
    """Return the millimetres in a unit of length.

    Raises:
        InvalidValue: The unit is unknown.
    """
    name = {"um": "µm", "μm": "µm"}.get(unit, unit)  # also the Greek letter mu
    if name not in UNITS:
        given = f"'{unit}' is not a unit of length of scans" if unit else "the unit is not given"
        raise InvalidValue(f"{given}; allowed: {', '.join(UNITS)}", key="unit", subject="scan", value=unit)
    return UNITS[name]


def scan_size(cloud: PointCloud) -> float:
    """Return twice the distance that 99 % of the points have at most from their median point, mm.

    It hardly depends on the pose or on single outliers.
    """
    distance = np.linalg.norm(cloud.points - np.median(cloud.points, axis=0), axis=1)
    return 2.0 * float(np.quantile(distance, 0.99))


def unit_plausibility(cloud: PointCloud, size_mm: float, *, unit: str = "mm") -> UnitCheck:
    """Say whether the size of a scan fits that of the simulated part, and which unit would fit better.

    Args:
        cloud: The scan.
        size_mm: Largest distance between two points of the simulated part, mm.
        unit: The unit in which the scan was read.

    Raises:
        InvalidValue: The unit is unknown, or the size is not above 0.
    """
    if not (math.isfinite(size_mm) and size_mm > 0.0):
        raise InvalidValue(f"{size_mm:g} mm must be above 0 mm", key="size_mm", subject="scan", value=size_mm)
    scale, size = unit_scale(unit), scan_size(cloud)
    misfit = {
        name: abs(math.log(max(size, 1e-300) / scale * other / size_mm)) for name, other in UNITS.items()
    }
    best = min(misfit, key=lambda name: misfit[name])
    stated = next(name for name in UNITS if UNITS[name] == scale)
    sizes = f"read in {stated}, the scan measures about {size:.3g} mm, the simulated part {size_mm:.3g} mm"
    if misfit[stated] <= math.log(_SAME_UNIT):
        return UnitCheck(True, stated, size, f"{sizes}.")
    if misfit[best] > math.log(_SAME_UNIT):
        return UnitCheck(False, "", size, f"{sizes}; no unit fits, so it may show another part.")
    would = size / scale * UNITS[best]
    return UnitCheck(
        False, best, size, f"{sizes}; the unit is likelier {best}, in which it would be {would:.3g} mm."
    )
