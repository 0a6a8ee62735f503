# SPDX-License-Identifier: MIT
"""Parameters of an invented scanner and of the faults of its scans."""

from dataclasses import dataclass

import numpy as np

from annelid.compare.invented.scanned_surface import ScannedSurface
from annelid.geometry.errors import InvalidValue

_SHARES = ("outlier_share", "ghost_share", "dropout_share")


@dataclass(frozen=True)
class InventedScanner:
    """How a part is scanned, and what goes wrong.

    Attributes:
        spacing: Distance between neighbouring laser points where the surface is seen along its normal, mm.
        noise: Standard deviation along the line of sight, mm.
        view_directions: Directions from the scanner to the part, one for each view, in the frame of the part;
            each scanner is far away.
        grazing_angle_deg: Angle between normal and line of sight beyond which nothing is seen; less than 90.
        outlier_share: Share of points anywhere around the part.
        ghost_share: Share of points in patches that light reflected twice puts at a wrong place.
        ghost_patches: Number of these patches; every second one is a mirror image, the others lie deeper
            along the line of sight.
        dropout_share: Share of the seen points that is lost in round holes.
        dropout_patches: Number of these holes.
        translucency: Depth that light reaches in the material, mm: attenuation length λ of exponential
            extinction; 0 if it is opaque.
        seed: Seed of the random numbers; the same seed gives the same scan.

    Raises:
        InvalidValue: If a value is out of range.
    """

    spacing: float
    noise: float = 0.0
    view_directions: tuple[tuple[float, float, float], ...] = (
        (-1.0, 0.0, 0.0),
        (0.5, 0.8660254, 0.0),
        (0.5, -0.8660254, 0.0),
    )
    grazing_angle_deg: float = 70.0
    outlier_share: float = 0.0
    ghost_share: float = 0.0
    ghost_patches: int = 4
    dropout_share: float = 0.0
    dropout_patches: int = 5
    translucency: float = 0.0
    seed: int = 0

    def __post_init__(self) -> None:
        ranges = {
            "spacing": (1e-4, 1e4),
            "noise": (0.0, 1e3),
            "grazing_angle_deg": (1.0, 89.0),
            **dict.fromkeys(_SHARES, (0.0, 0.9)),
            "ghost_patches": (1, 1000),
            "dropout_patches": (1, 1000),
            "translucency": (0.0, 1e3),
            "seed": (0, 2**63),
        }
        for key, (least, most) in ranges.items():
            value = getattr(self, key)
            if not least <= value <= most:
                problem = f"{value:g} must be from {least:g} to {most:g}"
                raise InvalidValue(problem, key=key, subject="invented scanner", value=value)
        views = np.asarray(self.view_directions, dtype=np.float64)
        if views.ndim != 2 or views.shape[1] != 3 or not (np.linalg.norm(views, axis=1) > 0.0).all():
            problem = "at least one direction of three numbers, not all zero, is needed"
            raise InvalidValue(problem, key="view_directions", subject="invented scanner")


def example_scanner(surface: ScannedSurface, seed: int) -> InventedScanner:
    """Return a scanner with faults of all kinds, whose lengths suit the size of a surface."""
    size = float(np.linalg.norm(np.ptp(surface.points, axis=0)))
    return InventedScanner(
        spacing=0.004 * size,
        noise=0.001 * size,
        outlier_share=0.03,
        ghost_share=0.02,
        dropout_share=0.08,
        seed=seed,
    )
