# SPDX-License-Identifier: MIT
"""A scan as a measured surface: read, cleaned, placed on its axis or on a run, fitted."""

from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from annelid.compare.comparison.compared import compare_scan
from annelid.compare.comparison.simulated_part import ComparisonSettings, simulated_part
from annelid.compare.invented.invented_files import STATEMENT
from annelid.compare.measured.axis import find_axis
from annelid.compare.measured.settings import SurfaceSettings
from annelid.compare.measured.surface_fit import FittedSurface, fit_surface
from annelid.compare.scans.cleaning import CleanedScan, clean
from annelid.compare.scans.reading import read_scan
from annelid.geometry.body import FloatArray
from annelid.geometry.errors import InputError
from annelid.results.folder.digests import digest_of

_HEADER = 4096  # bytes in which an invented scan says that it is one
_LARGEST, _SMALLEST = 5000.0, 0.5  # mm: sizes of parts beyond which the unit is doubted


@dataclass(frozen=True)
class MeasuredScan:
    """The measured surface of a scan.

    Attributes:
        scan: Its file.
        digest: SHA-256 digest of the file.
        unit: Unit of its lengths.
        invented: Whether the file says that the scan is invented.
        settings: How it was fitted.
        cleaned: The cleaned scan.
        points: Its points in the frame of the surface, shape (n, 3), mm.
        surface: The fitted surface.
        remarks: Sentences on what was done.
    """

    scan: Path
    digest: str
    unit: str
    invented: bool
    settings: SurfaceSettings
    cleaned: CleanedScan
    points: FloatArray
    surface: FittedSurface
    remarks: tuple[str, ...]


def measured_scan(
    scan: Path, settings: SurfaceSettings, *, unit: str, run: Path | None = None, state: int | None = None
) -> MeasuredScan:
    """Fit the surface of a scan.

    Args:
        scan: The file.
        settings: How the surface is fitted.
        unit: Unit of the lengths in the file.
        run: Run folder with whose outer surface the scan is aligned, so that heights and angles are those of
            the part; by default the axis is found from the scan.
        state: Number of the state of the run; ``None`` for the last.

    Raises:
        InputError: The file is no scan, or its surface cannot be fitted.
    """
    cloud = read_scan(scan, unit=unit)
    content = scan.read_bytes()
    if run is None:
        cleaned = clean(cloud, settings.cleaning)
        _check_size(scan, cleaned.cloud.points, unit)
        axis = find_axis(cleaned.cloud.points, settings.axis)
        points, how = axis.pose.apply(cleaned.cloud.points), [axis.text]
    else:
        chosen = ComparisonSettings(unit, state, cleaning=settings.cleaning, replicates=2)
        part = simulated_part(run, chosen)
        compared = compare_scan(part, scan, chosen)
        cleaned, points = compared.cleaned, compared.placed.points
        how = [
            f"It is aligned with the outer surface of state {part.state} of {part.run.path.name}: heights "
            "and angles are those of the part in this state.",
            *compared.remarks,
        ]
        if settings.low is None and settings.high is None:
            settings = _within(settings, points, part.surface.points[:, 2])
    try:
        surface = fit_surface(points, settings)
    except InputError as error:
        raise InputError(f"scan {scan}: {error.message}", **error.data) from None
    ends = f"from {surface.heights[0]:.4g} to {surface.heights[-1]:.4g} mm"
    scanned = f"from {points[:, 2].min():.4g} to {points[:, 2].max():.4g} mm"
    how.append(f"The surface extends {ends}, cut across the axis; the scan extends {scanned}.")
    return MeasuredScan(
        scan,
        digest_of(content),
        unit,
        STATEMENT.encode() in content[:_HEADER],
        settings,
        cleaned,
        points,
        surface,
        tuple(how),
    )


def _within(settings: SurfaceSettings, points: FloatArray, part: FloatArray) -> SurfaceSettings:
    """Settings with heights within both the part and the scan."""
    low, high = (
        max(part.min(), np.quantile(points[:, 2], 0.002)),
        min(part.max(), np.quantile(points[:, 2], 0.998)),
    )
    return replace(settings, low=float(low), high=float(high)) if low < high else settings


def _check_size(scan: Path, points: FloatArray, unit: str) -> None:
    """Doubt a unit in which the part would be far too large or too small."""
    size = float(np.linalg.norm(np.ptp(points, axis=0)))
    if not _SMALLEST <= size <= _LARGEST:
        raise InputError(
            f"scan {scan}: read in {unit}, it measures {size:.3g} mm, outside {_SMALLEST:g} to {_LARGEST:g} "
            "mm: give the unit of the file",
            key="--unit",
            size=size,
        )
