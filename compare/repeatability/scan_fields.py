# SPDX-License-Identifier: MIT
"""The deviation field and the measures of each listed scan, all at the same places of the surface."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
import pyarrow.parquet

from annelid.compare.alignment.poses import Pose
from annelid.compare.comparison.compared import compare_scan
from annelid.compare.comparison.files import COUNTED, PARQUET
from annelid.compare.comparison.map_surface import spot_deviations
from annelid.compare.comparison.named_points import read_named_points
from annelid.compare.comparison.simulated_part import ComparisonSettings, SimulatedPart
from annelid.compare.comparison.summary import KIND
from annelid.compare.deviation.coverage import surface_deviations
from annelid.compare.deviation.signed import deviations
from annelid.compare.repeatability.listing import ListedScan
from annelid.compare.repeatability.places import Places
from annelid.compare.repeatability.scan_measures import all_measures
from annelid.geometry.body import FloatArray
from annelid.geometry.errors import InputError
from annelid.results.folder.digests import check_digests, digests_of, read_sealed
from annelid.results.folder.folder_files import SUMMARY, read_json

_REPLICATES = 2  # the spread of several scans takes the place of the uncertainty of one


class ScanField(NamedTuple):
    """What is taken from a scan.

    Attributes:
        entry: Its row in the list.
        deviation: Median deviation around each place, ``nan`` where there is none, shape (m,), mm.
        measures: Measures by name.
        coverage: Covered share of the surface, 0 to 1.
        digest: SHA-256 digest of the scan.
        invented: Whether the scan says that it is invented.
        turns: Whether its angle about the axis is arbitrary.
        others: The same in other poses in which it fits as well, such as end for end, shape (k, m), mm.
        posed: Number of the pose that was taken: 0 is that of its own comparison, from 1 on those of
            ``others``.
        spot: Radius around a place from which the median is taken, mm.
    """

    entry: ListedScan
    deviation: FloatArray
    measures: Mapping[str, float]
    coverage: float
    digest: str
    invented: bool
    turns: bool
    others: FloatArray
    posed: int
    spot: float


def scan_field(
    part: SimulatedPart, places: Places, entry: ListedScan, settings: ComparisonSettings
) -> ScanField:
    """Compare a listed scan, or read its comparison.

    Raises:
        InputError: The scan cannot be compared, or its comparison is of another run, state or surface.
    """
    return (
        _read(part, places, entry, settings) if entry.is_folder else _compared(part, places, entry, settings)
    )


def in_other_poses(
    part: SimulatedPart, places: Places, points: FloatArray, motions: Sequence[Pose], least: float
) -> FloatArray:
    """Deviations at the places of points after each of some motions, shape (k, m), mm."""
    fields = np.empty((len(motions), len(places.points)))
    for field, motion in zip(fields, motions, strict=True):
        found = deviations(motion.apply(points), part.locator, reach=part.reach)
        field[:] = spot_deviations(found, part.surface, places.points, least).value
    return fields


def _compared(
    part: SimulatedPart, places: Places, entry: ListedScan, settings: ComparisonSettings
) -> ScanField:
    fiducials = read_named_points(entry.points, unit=entry.unit) if entry.points else {}
    own = replace(settings, unit=entry.unit, fiducials=fiducials, replicates=_REPLICATES)
    found = compare_scan(part, entry.scan, own)
    alignment = found.alignment
    motions = [other.since(alignment.pose) for other in alignment.alternatives]
    spots = spot_deviations(found.kept, part.surface, places.points, found.seen.radius, tree=found.tree)
    values = {name: float(measure.value) for name, measure in found.measures.items()}
    return ScanField(
        entry,
        spots.value,
        all_measures(values, found.kept, part),
        found.seen.coverage,
        found.digest,
        found.invented,
        any(motion.kind == "turn" and not motion.fixed_by for motion in alignment.free),
        in_other_poses(part, places, found.kept.points, motions, found.seen.radius),
        0,
        spots.radius,
    )


def _read(part: SimulatedPart, places: Places, entry: ListedScan, settings: ComparisonSettings) -> ScanField:
    folder = entry.scan
    if (read_json(folder / SUMMARY) or {}).get("kind") != KIND:
        raise InputError(f"{folder}: is neither a scan nor the folder of a comparison", key="scan")
    try:
        summary: Any = read_sealed(folder / SUMMARY)
        check_digests(folder, {PARQUET: summary["files"][PARQUET]})
    except InputError as error:
        text = f"{error.data.get('problem', 'is damaged')}; compare the scan again"
        raise InputError(f"{folder}: {text}", key="scan") from None
    _check_same(part, settings, folder, summary)
    points = _counted(folder / PARQUET)
    found = deviations(points, part.locator, reach=part.reach)
    least = surface_deviations(found, part.surface).radius
    spots = spot_deviations(found, part.surface, places.points, least)
    known = {name: measure["value"] for name, measure in summary["measures"].items()}
    values = {name: float("nan" if value is None else value) for name, value in known.items()}
    alignment = summary["alignment"]
    pose = Pose(np.array(alignment["rotation"]), np.array(alignment["translation_mm"]), alignment["scale"])
    others = [
        Pose(np.array(other["rotation"]), np.array(other["translation_mm"]), other.get("scale", 1.0))
        for other in alignment["alternatives"]
    ]
    return ScanField(
        entry,
        spots.value,
        all_measures(values, found, part),
        float(summary["coverage"]),
        summary["scan"]["sha256"],
        bool(summary["scan"]["invented"]),
        any(motion["kind"] == "turn" and not motion["fixed_by"] for motion in alignment["free"]),
        in_other_poses(part, places, points, [other.since(pose) for other in others], least),
        0,
        spots.radius,
    )


def _check_same(part: SimulatedPart, settings: ComparisonSettings, folder: Path, summary: Any) -> None:
    run = summary["run"]
    own = digests_of(part.run.path, [SUMMARY])[SUMMARY]
    said: list[tuple[str, Callable[[], bool]]] = [
        ("another run", lambda: run["sha256 of summary.json"] == own),
        (f"state {run['state']}, not state {part.state}", lambda: run["state"] == part.state),
        (f"the {run['surface']} surface", lambda: run["surface"] == settings.surface),
    ]
    wrong = next((text for text, same in said if not same()), "")
    if wrong:
        raise InputError(f"{folder}: is a comparison with {wrong}; compare its scan again", key="scan")


def _counted(file: Path) -> FloatArray:
    """The points that count, shape (n, 3), mm."""
    try:
        table = pyarrow.parquet.read_table(file)
        used = np.array(table["use"].to_pylist()) == COUNTED
        points = np.column_stack([table[f"{axis} [mm]"].to_numpy() for axis in "xyz"])[used]
    except (OSError, KeyError, ValueError, pyarrow.lib.ArrowException) as error:
        raise InputError(
            f"{file}: cannot be read ({str(error)[:80]}); compare the scan again", key="scan"
        ) from None
    if not len(points) or not np.isfinite(points).all():
        raise InputError(f"{file}: has no finite points that count; compare the scan again", key="scan")
    return np.asarray(points, dtype=float)
