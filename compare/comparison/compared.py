# SPDX-License-Identifier: MIT
"""One scan compared with one state of a run: cleaned, aligned, measured."""

from dataclasses import dataclass
from functools import cached_property
from pathlib import Path

import numpy as np

from annelid.compare.alignment.align import align
from annelid.compare.alignment.poses import Pose
from annelid.compare.alignment.records import Alignment
from annelid.compare.comparison.named_points import about
from annelid.compare.comparison.simulated_part import ComparisonSettings, SimulatedPart
from annelid.compare.deviation.coverage import SurfaceDeviations, surface_deviations
from annelid.compare.deviation.outliers import WithoutOutliers, without_outliers
from annelid.compare.deviation.quantities import Measures, Uncertain, with_uncertainty
from annelid.compare.deviation.signed import Deviations, deviations
from annelid.compare.invented.invented_files import STATEMENT
from annelid.compare.scans.cleaning import KEPT, CleanedScan, clean
from annelid.compare.scans.point_cloud import PointCloud
from annelid.compare.scans.reading import read_scan
from annelid.compare.scans.units import unit_plausibility
from annelid.geometry.body import IntArray
from annelid.geometry.errors import InputError
from annelid.results.folder.digests import digest_of

_CONSISTENT = 0.8  # share of normals on one side from which they are believed
_FEWEST = 20  # points with a partner
NO_PARTNER, OUTLIER = "without partner", "outliers on the surface"
"""Why points that were left after the cleaning do not count."""
_HEADER = 4096  # bytes in which an invented scan says that it is one


@dataclass(frozen=True)
class Comparison:
    """A scan compared with a simulated surface.

    Attributes:
        part: The simulated surface.
        settings: How it was compared.
        scan: File of the scan.
        digest: SHA-256 digest of this file.
        invented: Whether the file says that the scan is invented.
        cloud: All points of the scan.
        cleaned: The cleaned scan.
        alignment: Its pose.
        found: Deviations of all points with a partner.
        sound: Those without outliers.
        seen: Deviations seen from the surface.
        measures: Quantities by name, with uncertainty.
        remarks: Sentences on what was done.
    """

    part: SimulatedPart
    settings: ComparisonSettings
    scan: Path
    digest: str
    invented: bool
    cloud: PointCloud
    cleaned: CleanedScan
    alignment: Alignment
    found: Deviations
    sound: WithoutOutliers
    seen: SurfaceDeviations
    measures: dict[str, Uncertain]
    remarks: tuple[str, ...]

    @cached_property
    def placed(self) -> PointCloud:
        """The cleaned scan in the frame of the part."""
        return _moved(self.cleaned.cloud, self.alignment.pose)

    @property
    def kept(self) -> Deviations:
        """The deviations that count."""
        return self.sound.kept

    @cached_property
    def fates(self) -> tuple[IntArray, tuple[str, ...]]:
        """What became of each point of the scan: ``KEPT`` or the position of a reason, and the reasons."""
        names = (*(step.name for step in self.cleaned.steps), NO_PARTNER, OUTLIER)
        fate = self.cleaned.removed.copy()
        left = np.flatnonzero(fate == KEPT)
        fate[left] = len(names) - 2
        fate[left[self.found.number]] = len(names) - 1
        fate[left[self.kept.number]] = KEPT
        return fate, names


def compare_scan(part: SimulatedPart, scan: Path, settings: ComparisonSettings) -> Comparison:
    """Clean and align a scan, and measure how far it is from the simulated surface.

    Raises:
        InputError: The file is no scan, its size does not fit the part, or too little of it is left.
    """
    cloud = read_scan(scan, unit=settings.unit)
    content = scan.read_bytes()
    cleaned = clean(cloud, settings.cleaning)
    check = unit_plausibility(cleaned.cloud, part.size, unit=settings.unit)
    if not check.plausible:
        raise InputError(f"scan {scan}: {check.text}", key="unit", likelier=check.likelier)
    alignment = align(cleaned.cloud.points, part.surface, settings.alignment, fiducials=settings.fiducials)
    placed = _moved(cleaned.cloud, alignment.pose)
    found, remarks = _deviations(placed, part)
    sound = without_outliers(found)
    count = len(sound.kept.value)
    if count < _FEWEST:
        text = f"only {count} of its points lie on the {part.surface.name}"
        raise InputError(f"scan {scan}: {text}; check that it shows this part in this state")
    seen = surface_deviations(sound.kept, part.surface)
    covariance = about(alignment.covariance, alignment.centre, part.surface.centroid)
    measures = with_uncertainty(
        sound.kept, Measures(part.radii), part.surface, covariance, replicates=settings.replicates
    )
    return Comparison(
        part,
        settings,
        scan,
        digest_of(content),
        STATEMENT.encode() in content[:_HEADER],
        cloud,
        cleaned,
        alignment,
        found,
        sound,
        seen,
        measures,
        (*alignment.sentences, *remarks),
    )


def _moved(cloud: PointCloud, pose: Pose) -> PointCloud:
    """Return a scan in the frame of the part."""
    normals = None if cloud.normals is None else cloud.normals @ pose.rotation.T
    return PointCloud(pose.apply(cloud.points), normals, cloud.intensities, cloud.faces)


def _deviations(placed: PointCloud, part: SimulatedPart) -> tuple[Deviations, list[str]]:
    """Deviations, with the normals of the scan if they are consistent; their sign does not matter."""
    plain = deviations(placed.points, part.locator, reach=part.reach)
    if placed.normals is None or not len(plain.number):
        return plain, []
    along = np.einsum("ni,ni->n", placed.normals[plain.number], plain.normal)
    outward = float((along > 0).mean())
    if max(outward, 1.0 - outward) < _CONSISTENT:
        share = f"{100 * max(outward, 1.0 - outward):.0f} %"
        return plain, [f"The normals of the scan were not used: only {share} of them are on one side."]
    against = along < 0 if outward > 0.5 else along > 0
    kept = plain.chosen(~against)
    return kept._replace(turned_away=int(against.sum())), []
