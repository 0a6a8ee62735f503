# SPDX-License-Identifier: MIT
"""Parameters of the cleaning of scans."""

from dataclasses import dataclass

import numpy as np

from annelid.geometry.errors import InvalidValue


@dataclass(frozen=True)
class Cleaning:
    """What is removed; lengths are in terms of the spacing, the median distance to the nearest other point.

    Attributes:
        duplicate_distance: Of points in one cube of this edge one is kept; 0 to keep all.
        saturated_intensity: Intensities from here on are removed; None for the largest intensity, if at least
            0.2 % of the points have exactly this one.
        least_intensity: Smaller intensities are removed; None to keep all.
        grazing_angle_deg: Largest angle between normal and direction to the scanner.
        scanner_position: Position of the scanner in the frame of the scan, mm; None if unknown.
        view_direction: Direction from the scanner to the part instead, of any length; None if unknown.
        neighbours: Number of neighbours whose mean distance shows an outlier.
        outlier_deviations: Robust standard deviations of the logarithm of this distance by which an outlier
            lies above the median; 0 to keep all.
        patch_gap: Gap that separates an isolated patch.
        smallest_patch: Share of the points below which a separate patch is removed; 0 to keep all.
        voxel: Edge of the cubes in each of which one point is kept; 0 to keep all.
        voxel_mm: The same in mm instead, whatever the spacing.

    Raises:
        InvalidValue: If a value is out of range.
    """

    duplicate_distance: float = 1e-3
    saturated_intensity: float | None = None
    least_intensity: float | None = None
    grazing_angle_deg: float = 75.0
    scanner_position: tuple[float, float, float] | None = None
    view_direction: tuple[float, float, float] | None = None
    neighbours: int = 12
    outlier_deviations: float = 3.0
    patch_gap: float = 3.0
    smallest_patch: float = 0.02
    voxel: float = 0.0
    voxel_mm: float = 0.0

    def __post_init__(self) -> None:
        ranges = {
            "duplicate_distance": (0.0, 1.0),
            "grazing_angle_deg": (0.0, 90.0),
            "neighbours": (1, 100),
            "outlier_deviations": (0.0, 100.0),
            "patch_gap": (1.0, 1000.0),
            "smallest_patch": (0.0, 0.5),
            "voxel": (0.0, 1e4),
            "voxel_mm": (0.0, 1e6),
        }
        for key, (least, most) in ranges.items():
            value = getattr(self, key)
            if not least <= value <= most:
                problem = f"{value:g} must be from {least:g} to {most:g}"
                raise InvalidValue(problem, key=key, subject="cleaning", value=value)
        if self.scanner_position is not None and self.view_direction is not None:
            problem = "give either this or scanner_position, not both"
            raise InvalidValue(problem, key="view_direction", subject="cleaning")
        if self.voxel and self.voxel_mm:
            raise InvalidValue("give either this or voxel, not both", key="voxel_mm", subject="cleaning")
        for key in ("saturated_intensity", "least_intensity"):
            light = getattr(self, key)
            if light is not None and not np.isfinite(light):
                raise InvalidValue(f"{light:g} must be a number", key=key, subject="cleaning", value=light)
        if self.view_direction is not None and not np.linalg.norm(self.view_direction) > 0.0:
            raise InvalidValue("must have a length", key="view_direction", subject="cleaning")

    @classmethod
    def none(cls) -> "Cleaning":
        """Return settings that keep every point."""
        return cls(
            duplicate_distance=0.0,
            saturated_intensity=np.finfo(float).max,
            outlier_deviations=0.0,
            smallest_patch=0.0,
        )
