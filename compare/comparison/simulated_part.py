# SPDX-License-Identifier: MIT
"""The simulated surface that scans are compared with, and how."""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from functools import cached_property
from pathlib import Path
from typing import Literal

import numpy as np

from annelid.compare.alignment.closest import SurfaceLocator
from annelid.compare.alignment.landmarks import Fiducials
from annelid.compare.alignment.nominal import nominal_surface
from annelid.compare.alignment.records import AlignmentSettings
from annelid.compare.alignment.surface import NominalSurface
from annelid.compare.comparison.limits import MeasuredLimit
from annelid.compare.comparison.states import (
    StateChoice,
    named_state,
    single_state,
    states_at,
    stored_states,
)
from annelid.compare.deviation.radius_field import RadiusField, radius_field
from annelid.compare.scans.cleaning_settings import Cleaning
from annelid.compare.scans.point_cloud import PointCloud
from annelid.compare.scans.units import scan_size
from annelid.geometry.errors import InputError
from annelid.results.folder.folder_files import end_reason
from annelid.results.folder.run_record import RunRecord, open_run

_REACH = 0.25  # of the diameter: a point farther from the surface has no partner
_SAMPLES = 2000  # points from which the size of the surface is taken


@dataclass(frozen=True)
class ComparisonSettings:
    """How scans are compared.

    Attributes:
        unit: Unit of the lengths in the files of the scans.
        state: Number of the state, from the end if negative; None for the last, ``"best"`` for the one that
            fits best.
        loads: Loads that acted on the part instead of a number, as for ``states_at``; with ``"best"`` the
            states among which the scan chooses.
        surface: Name of the simulated surface.
        alignment: How scans are aligned.
        fiducials: Named points on the scan and on the part, which fix what the surface leaves free.
        cleaning: How they are cleaned.
        limits: Limits on the quantities.
        scanner: Standard uncertainty of an error that all points share along the normals, mm.
        replicates: Number of replicates for the uncertainty.
        about_state: Sentences on how the state came about.

    Raises:
        InputError: A state is given by its number and by loads, or an uncertainty is negative.
    """

    unit: str
    state: int | Literal["best"] | None = None
    surface: Literal["outer", "lumen"] = "outer"
    loads: Mapping[str, float] = field(default_factory=dict)
    alignment: AlignmentSettings = field(default_factory=AlignmentSettings)
    fiducials: Fiducials = field(default_factory=dict)
    cleaning: Cleaning = field(default_factory=Cleaning)
    limits: tuple[MeasuredLimit, ...] = ()
    scanner: float = 0.0
    replicates: int = 100
    about_state: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        if self.loads and self.state not in (None, "best"):
            text = f"gives the state {self.state}, and loads are given, too; give one of them"
            raise InputError(f"--state: {text}", key="--state")
        if not 0.0 <= self.scanner < np.inf:
            raise InputError(f"scanner_uncertainty: {self.scanner:g} mm must be 0 or more", key="scanner")


@dataclass(frozen=True)
class SimulatedPart:
    """The simulated surface.

    Attributes:
        run: The run.
        choice: The state.
        surface: Its surface.
    """

    run: RunRecord
    choice: StateChoice
    surface: NominalSurface

    @property
    def state(self) -> int:
        """Number of the state, or of the nearest one if it lies between two."""
        return self.choice.nearest

    @cached_property
    def locator(self) -> SurfaceLocator:
        """Search for the closest points of the surface."""
        return SurfaceLocator(self.surface)

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
    """Open a finished run and take a surface of one of its states; with ``"best"`` the last candidate.

    Raises:
        InputError: There is no run or it is not finished, or it has no such state or surface.
    """
    record = finished_run(run)
    return part_in(record, candidates(record, settings)[-1], settings)


def finished_run(run: Path | str) -> RunRecord:
    """Open a finished run.

    Raises:
        InputError: There is no run, or it is not finished.
    """
    record = open_run(run)
    if record.status != "finished":
        reason = end_reason(record.path)
        text = f"the run is not finished{f' ({reason})' if reason else ''}; finish it, then compare"
        raise InputError(f"run folder {record.path}: {text}", status=record.status)
    return record


def candidates(run: RunRecord, settings: ComparisonSettings) -> list[StateChoice]:
    """Return the states that a scan may be compared with: one, but for ``"best"``.

    Raises:
        InputError: There is no such state or load, or several states have the loads.
    """
    if settings.state == "best":
        return states_at(run, settings.loads) if settings.loads else stored_states(run)
    if settings.loads:
        return [single_state(run, settings.loads)]
    choice = named_state(run, settings.state)
    return [replace(choice, remarks=(*settings.about_state, *choice.remarks))]


def part_in(run: RunRecord, choice: StateChoice, settings: ComparisonSettings) -> SimulatedPart:
    """Take the surface of a state.

    Raises:
        InputError: There is no such surface, or it does not reach a height at which a radius is limited.
    """
    surface = nominal_surface(run, choice.shares, name=settings.surface)
    part = SimulatedPart(run, choice, replace(surface, name=f"{settings.surface} surface"))
    low, high = surface.points[:, 2].min(), surface.points[:, 2].max()
    for limit in settings.limits:
        if limit.height is not None and not low <= limit.height <= high:
            text = f"the {part.surface.name} is from {low:.4g} to {high:.4g} mm in this state"
            raise InputError(f"requirement on '{limit.quantity}': {text}", key=limit.quantity)
    return part
