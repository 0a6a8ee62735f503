# SPDX-License-Identifier: MIT
"""The simulated surface that scans are compared with, and how."""

from dataclasses import dataclass, field, replace
from functools import cached_property
from pathlib import Path
from typing import Literal

from annelid.compare.alignment.closest import Locator
from annelid.compare.alignment.landmarks import Fiducials
from annelid.compare.alignment.nominal import nominal_surface
from annelid.compare.alignment.records import AlignmentSettings
from annelid.compare.alignment.surface import NominalSurface
from annelid.compare.deviation.radius_field import RadiusField, radius_field
from annelid.compare.scans.cleaning_settings import Cleaning
from annelid.compare.scans.point_cloud import PointCloud
from annelid.compare.scans.units import scan_size
from annelid.geometry.errors import InputError
from annelid.results.folder.folder_files import end_reason
from annelid.results.folder.run_record import RunRecord, open_run

ALL_POINTS = 1.0
"""Share of a cleaned scan that is aligned: to leave out the farthest points moves a part that is wider all
around to one side (measured: by a quarter of its excess)."""
_REACH = 0.25  # of the diameter: a point farther from the surface has no partner
_SAMPLES = 2000  # points that tell the size of the surface


@dataclass(frozen=True)
class ComparisonSettings:
    """How scans are compared.

    Attributes:
        unit: Unit of the lengths in the files of the scans.
        state: Number of the state, from the end if negative; None for the last.
        surface: Name of the simulated surface.
        alignment: How scans are aligned.
        fiducials: Named points on the scan and on the part, which fix what the surface leaves free.
        cleaning: How they are cleaned.
        replicates: Number of replicates that tell the uncertainty.
    """

    unit: str
    state: int | None = None
    surface: Literal["outer", "lumen"] = "outer"
    alignment: AlignmentSettings = field(default_factory=lambda: AlignmentSettings(kept=ALL_POINTS))
    fiducials: Fiducials = field(default_factory=dict)
    cleaning: Cleaning = field(default_factory=Cleaning)
    replicates: int = 100


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

    @property
    def reach(self) -> float:
        """Distance beyond which a point has no partner, mm."""
        return _REACH * self.surface.diameter

    @cached_property
    def size(self) -> float:
        """Size in the sense of ``scan_size``, mm."""
        return scan_size(PointCloud(self.surface.sampled(_SAMPLES)[0], None, None, None))


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
