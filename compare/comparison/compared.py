# SPDX-License-Identifier: MIT
"""One scan compared with one state of a run: cleaned, aligned, measured."""

import math
from dataclasses import dataclass, field, replace
from functools import cached_property
from pathlib import Path
from typing import Literal

import numpy as np

from annelid.compare.alignment.align import align
from annelid.compare.alignment.closest import Locator
from annelid.compare.alignment.nominal import nominal_surface
from annelid.compare.alignment.poses import Pose
from annelid.compare.alignment.records import Alignment, AlignmentSettings
from annelid.compare.alignment.surface import NominalSurface
from annelid.compare.deviation.coverage import SurfaceDeviations, surface_deviations
from annelid.compare.deviation.outliers import WithoutOutliers, without_outliers
from annelid.compare.deviation.quantities import Measures, Uncertain, with_uncertainty
from annelid.compare.deviation.radius_field import RadiusField, radius_field
from annelid.compare.deviation.signed import Deviations, deviations
from annelid.compare.invented.invented_files import STATEMENT
from annelid.compare.scans.cleaning import KEPT, CleanedScan, clean
from annelid.compare.scans.cleaning_settings import Cleaning
from annelid.compare.scans.point_cloud import PointCloud
from annelid.compare.scans.reading import read_scan
from annelid.compare.scans.units import scan_size, unit_plausibility, unit_scale
from annelid.geometry.body import FloatArray, IntArray
from annelid.geometry.errors import InputError
from annelid.results.folder.digests import digest_of
from annelid.results.folder.folder_files import end_reason
from annelid.results.folder.run_record import RunRecord, open_run

_REACH = 0.25  # of the diameter: a point farther from the surface has no partner
_CONSISTENT = 0.8  # share of normals on one side from which they are believed
_FEWEST = 20  # points with a partner
NO_PARTNER, OUTLIER = "without partner", "outliers on the surface"
"""Why points that were left after the cleaning do not count."""
_HEADER = 4096  # bytes in which an invented scan says that it is one


@dataclass(frozen=True)
class ComparisonSettings:
    """How scans are compared.

    Attributes:
        unit: Unit of the lengths in the files of the scans.
        state: Number of the state, from the end if negative; None for the last.
        surface: Name of the simulated surface.
        alignment: How scans are aligned.
        cleaning: How they are cleaned.
    """

    unit: str
    state: int | None = None
    surface: Literal["outer", "lumen"] = "outer"
    alignment: AlignmentSettings = field(default_factory=AlignmentSettings)
    cleaning: Cleaning = field(default_factory=Cleaning)


@dataclass(frozen=True)
class SimulatedPart:
    """The simulated surface.

    Attributes:
        run: The run.
        state: Number of the state.
        surface: Its surface.
    """

    run: RunRecord
    state: int
    surface: NominalSurface

    @cached_property
    def locator(self) -> Locator:
        """Search for the closest points of the surface."""
        return Locator(self.surface)

    @cached_property
    def radii(self) -> RadiusField | None:
        """Radius over height and angle; None if the sections of the surface do not go around the axis."""
        try:
            return radius_field(self.surface)
        except InputError:
            return None

    @cached_property
    def size(self) -> float:
        """Size in the sense of ``scan_size``, mm."""
        return scan_size(PointCloud(self.surface.sampled(2000)[0], None, None, None))


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
        return moved(self.cleaned.cloud, self.alignment.pose)

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


def simulated_part(run: Path | str, settings: ComparisonSettings) -> SimulatedPart:
    """Open a finished run and take a surface of one of its states.

    Raises:
        InputError: There is no run or it is not finished, or it has no such state or surface.
    """
    record = open_run(run)
    if record.status != "finished":
        reason = end_reason(record.path)
        text = f"the run is not finished{f' ({reason})' if reason else ''}; finish it, then compare"
        raise InputError(f"run folder {record.path}: {text}", status=record.status)
    file = record.field_file(settings.state)
    state = next(number for number, path in record.field_files.items() if path == file)
    surface = nominal_surface(record, state, name=settings.surface)
    return SimulatedPart(record, state, replace(surface, name=f"{settings.surface} surface"))


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
    alignment = align(cleaned.cloud.points, part.surface, settings.alignment)
    placed = moved(cleaned.cloud, alignment.pose)
    found, remarks = _deviations(placed, part)
    sound = without_outliers(found)
    if len(sound.kept.value) < _FEWEST:
        count = len(sound.kept.value)
        raise InputError(
            f"scan {scan}: only {count} of its points lie on the {part.surface.name}; check that it "
            "shows this part in this state"
        )
    seen = surface_deviations(sound.kept, part.surface)
    measures = with_uncertainty(sound.kept, Measures(part.radii), part.surface, alignment.covariance)
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


def moved(cloud: PointCloud, pose: Pose) -> PointCloud:
    """Return a scan in the frame of the part."""
    normals = None if cloud.normals is None else cloud.normals @ pose.rotation.T
    return PointCloud(pose.apply(cloud.points), normals, cloud.intensities, cloud.faces)


def reach_of(part: SimulatedPart) -> float:
    """Return the distance beyond which a point has no partner, mm."""
    return _REACH * part.surface.diameter


def degrees_of(pose: Pose) -> tuple[float, FloatArray]:
    """Return the angle (degrees) and the unit axis, shape (3,), of the rotation of a pose."""
    from scipy.spatial.transform import Rotation

    vector = Rotation.from_matrix(pose.rotation).as_rotvec()
    angle = float(np.linalg.norm(vector))
    return math.degrees(angle), vector / angle if angle > 0 else np.array([0.0, 0.0, 1.0])


def _deviations(placed: PointCloud, part: SimulatedPart) -> tuple[Deviations, list[str]]:
    """Deviations, with the normals of the scan if they are consistent; their sign does not matter."""
    reach = reach_of(part)
    plain = deviations(placed.points, part.locator, reach=reach)
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
