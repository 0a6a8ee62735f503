# SPDX-License-Identifier: MIT
"""How a scan is aligned, and the result."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal, NamedTuple

from annelid.compare.alignment.freedoms import FreeMotion
from annelid.compare.alignment.poses import Pose
from annelid.geometry.body import FloatArray
from annelid.geometry.errors import InputError

type Datum = Literal["surface", "ends", "points"]


@dataclass(frozen=True)
class AlignmentSettings:
    """How a scan is aligned.

    Attributes:
        datum: What the scan is aligned by: the whole ``"surface"``, its ``"ends"`` (a tenth of the length at
            each end), or the named ``"points"`` alone.
        kept: Share of the points with the smallest distances that takes part. With less than all, a part that
            is wider all around moves to one side (measured: by a quarter of its excess), and the kernel of
            the fit leaves out outliers anyway.
        with_scale: Whether a scale is fitted too, which hides a true difference of size.
        seed: Of the random choice of points.
    """

    datum: Datum = "surface"
    kept: float = 1.0
    with_scale: bool = False
    seed: int = 0

    def __post_init__(self) -> None:
        if self.datum not in ("surface", "ends", "points"):
            raise InputError(f"datum: '{self.datum}' is not one of surface, ends, points.", key="datum")
        if not 0.5 <= self.kept <= 1.0:
            raise InputError(f"kept: {self.kept:g} is not from 0.5 to 1.", key="kept")


class Alignment(NamedTuple):
    """A pose of a scan on the simulated surface.

    Attributes:
        pose: Takes the points of the scan to the frame of the surface.
        residual_rms: Root mean square distance of the inliers, mm.
        inlier_share: Share of the points with a partner within 3 robust standard deviations, 0 to 1.
        covariance: Of a motion of the aligned scan about ``centre``: rotation vector (rad) and shift (mm),
            shape (6, 6); free motions have no part in it.
        centre: Shape (3,), mm.
        free: Motions that the shape does not fix, and what fixes them.
        alternatives: Other poses that fit as well.
        residuals: Distances left at named points, mm.
        sentences: What was done and what has to be known about it.
    """

    pose: Pose
    residual_rms: float
    inlier_share: float
    covariance: FloatArray
    centre: FloatArray
    free: tuple[FreeMotion, ...]
    alternatives: tuple[Pose, ...]
    residuals: Mapping[str, float]
    sentences: tuple[str, ...]
