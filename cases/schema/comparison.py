# SPDX-License-Identifier: MIT
"""Table of the comparison with scans: how they are cleaned, and what is required of the measured parts."""

from annelid.cases.schema.base import Angle, Length, Number, Table
from annelid.cases.schema.stage import LimitTable


class CleaningTable(Table):
    """What is removed from a scan before it is compared; each step is reported."""

    off: bool = False
    """Whether every point is kept."""
    voxel: Length | None = None
    """Edge of the cubes in each of which one point is kept; default: all points are kept."""
    outlier_strength: Number | None = None
    """Robust standard deviations by which outliers are too far from neighbours; 0 keeps all. Default: 3."""
    smallest_patch: Number | None = None
    """Share of the points below which a separate patch is removed; 0 keeps all. Default: 2 %."""
    least_intensity: Number | None = None
    """Points with a smaller intensity are removed; default: none."""
    saturated_intensity: Number | None = None
    """Points with at least this intensity are removed; default: the largest one, if many points have it."""
    grazing_angle: Angle | None = None
    """Largest angle between normal and direction to the scanner, which must be given; default: 75 deg."""
    scanner_position: tuple[Length, Length, Length] | None = None
    """Position of the scanner in the frame of the scan."""
    view_direction: tuple[Number, Number, Number] | None = None
    """Direction from the scanner to the part in the frame of the scan instead, of any length."""


class ComparisonTable(Table):
    """How scans of the part are compared with a run. It changes no result and no hash of the case."""

    scanner_uncertainty: Length | None = None
    """Standard uncertainty of an error of the scanner that all points share; default: none."""
    cleaning: CleaningTable = CleaningTable()
    """How scans are cleaned."""
    requirements: tuple[LimitTable, ...] = ()
    """Limits on the quantities of a comparison."""
