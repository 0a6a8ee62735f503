# SPDX-License-Identifier: MIT
"""One scan compared with one state of a run: cleaned, aligned, measured."""

from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import NamedTuple

import numpy as np
from scipy.spatial import KDTree

from annelid.compare.alignment.align import align
from annelid.compare.alignment.poses import Pose
from annelid.compare.alignment.records import Alignment
from annelid.compare.comparison.limits import Judgement, judged
from annelid.compare.comparison.named_points import about
from annelid.compare.comparison.simulated_part import ComparisonSettings, SimulatedPart
from annelid.compare.deviation.coverage import SurfaceDeviations, surface_deviations
from annelid.compare.deviation.outliers import WithoutOutliers, without_outliers
from annelid.compare.deviation.quantities import Measures, Uncertain
from annelid.compare.deviation.signed import Deviations, deviations
from annelid.compare.deviation.uncertainty import with_uncertainty
from annelid.compare.invented.invented_files import STATEMENT
from annelid.compare.scans.cleaning import KEPT, CleanedScan, clean
from annelid.compare.scans.grouping import search_tree
from annelid.compare.scans.point_cloud import PointCloud
from annelid.compare.scans.reading import read_scan
from annelid.compare.scans.units import unit_plausibility
from annelid.geometry.body import IntArray
from annelid.geometry.errors import InputError, checking
from annelid.results.folder.digests import digest_of

_CONSISTENT = 0.8  # share of normals on one side from which they are believed
_FEWEST, _FEWEST_CLEANED = 20, 50  # points with a partner, and points at all
_LEAST_SHARE = 0.5  # of the points with a partner; with fewer it is hardly a scan of the part
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
        tree: Search for the partners of those.
        seen: Deviations seen from the surface.
        measures: Quantities by name, with uncertainty.
        verdicts: Which limits they keep.
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
    tree: KDTree
    seen: SurfaceDeviations
    measures: dict[str, Uncertain]
    verdicts: tuple[Judgement, ...]
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


class CleanedFile(NamedTuple):
    """A scan that was read and cleaned; attributes as in ``Comparison``."""

    scan: Path
    digest: str
    invented: bool
    cloud: PointCloud
    cleaned: CleanedScan


def cleaned_file(scan: Path, settings: ComparisonSettings) -> CleanedFile:
    """Read and clean a scan.

    Raises:
        InputError: The file is no scan, or nothing is left of it.
    """
    cloud = read_scan(scan, unit=settings.unit)
    content = scan.read_bytes()
    is_invented = STATEMENT.encode() in content[:_HEADER]
    with checking(f"scan {scan}"):
        cleaned = clean(cloud, settings.cleaning)
    left = len(cleaned.cloud.points)
    if left < _FEWEST_CLEANED:
        table = ", ".join(f"{s.name} {s.points_in - s.points_out}" for s in cleaned.steps)
        text = f"the cleaning leaves {left} of {len(cloud.points)} points, too few to compare"
        raise InputError(f"scan {scan}: {text} (removed: {table})", key="cleaning")
    return CleanedFile(scan, digest_of(content), is_invented, cloud, cleaned)


def compare_scan(part: SimulatedPart, scan: Path | CleanedFile, settings: ComparisonSettings) -> Comparison:
    """Clean and align a scan, and measure how far it is from the simulated surface.

    Args:
        part: The simulated surface.
        scan: The file, or what was read from it.
        settings: How it is compared.

    Raises:
        InputError: The file is no scan, its size does not fit the part, or too little of it is left.
    """
    read = cleaned_file(scan, settings) if isinstance(scan, Path) else scan
    points = read.cleaned.cloud
    check = unit_plausibility(points, part.size, unit=settings.unit)
    if not check.plausible:
        raise InputError(f"scan {read.scan}: {check.text}", key="unit", likelier=check.likelier)
    alignment = align(
        points.points, part.surface, settings.alignment, fiducials=settings.fiducials, locator=part.locator
    )
    found, remarks = _deviations(_moved(points, alignment.pose), part)
    sound = _sound(found, len(points.points), read.scan, part.surface.name)
    tree = search_tree(sound.kept.foot)
    seen = surface_deviations(sound.kept, part.surface, tree=tree)
    measures = with_uncertainty(
        sound.kept,
        seen,
        Measures(part.radii, _heights(part, settings)),
        part.surface,
        about(alignment.covariance, alignment.centre, part.surface.centroid),
        scanner=settings.scanner,
        replicates=settings.replicates,
    )
    return Comparison(
        part,
        settings,
        *read,
        alignment=alignment,
        found=found,
        sound=sound,
        tree=tree,
        seen=seen,
        measures=measures,
        verdicts=judged(measures, settings.limits),
        remarks=(*part.choice.remarks, *alignment.sentences, *remarks),
    )


def _sound(found: Deviations, points: int, scan: Path, surface: str) -> WithoutOutliers:
    """The deviations without outliers, if enough of the scan lies on the part."""
    without = found.beyond_edges + found.too_far
    if without > (1.0 - _LEAST_SHARE) * points:
        share = f"only {100.0 * (1.0 - without / points):.0f} % of its points lie on the {surface}"
        text = "check that it shows this part in this state, and crop what does not belong to it"
        raise InputError(f"scan {scan}: {share}; {text}", key="SCAN")
    sound = without_outliers(found)
    count = len(sound.kept.value)
    if count < _FEWEST:
        text = f"only {count} of its points lie on the {surface}"
        raise InputError(f"scan {scan}: {text}; check that it shows this part in this state")
    return sound


def _heights(part: SimulatedPart, settings: ComparisonSettings) -> tuple[float, ...]:
    """Heights at which a radius is limited, each once, mm."""
    if part.radii is None:
        return ()
    return tuple(dict.fromkeys(limit.height for limit in settings.limits if limit.height is not None))


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
