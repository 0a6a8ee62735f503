# SPDX-License-Identifier: MIT
"""Several scans of several parts: where they differ, by how much, and from which source."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import NamedTuple

import numpy as np

from annelid.compare.comparison.simulated_part import ComparisonSettings, SimulatedPart
from annelid.compare.repeatability.agreeing_poses import agreeing_poses
from annelid.compare.repeatability.agreement import Agreement
from annelid.compare.repeatability.consistency import Consistency
from annelid.compare.repeatability.hand_measures import HandMeasured
from annelid.compare.repeatability.listing import ListedScan, ScanDesign, design_of, reference_scans
from annelid.compare.repeatability.places import Places, places_of, ring_means
from annelid.compare.repeatability.point_spread import PointSpread, point_spread
from annelid.compare.repeatability.precision import Precision, consistencies, levels, precisions
from annelid.compare.repeatability.scan_fields import ScanField, scan_field
from annelid.compare.repeatability.scan_measures import MEASURE_UNITS
from annelid.compare.repeatability.shape_modes import ShapeModes, patches_of, shape_modes
from annelid.compare.repeatability.study_parts import (
    Beside,
    SimulatedShapes,
    StudyParts,
    beside,
    simulated_shapes,
)
from annelid.compare.repeatability.two_methods import two_methods
from annelid.geometry.body import FloatArray


class StudyBeside(NamedTuple):
    """A tolerance study beside the scans.

    Attributes:
        study: The study.
        shapes: Shapes of its parts.
        rows: Spreads of the same quantities.
    """

    study: StudyParts
    shapes: SimulatedShapes
    rows: list[Beside]


@dataclass(frozen=True)
class Repeatability:
    """Several scans of several parts.

    Attributes:
        part: The simulated surface.
        settings: How the scans are compared.
        file: The list of scans.
        method: Name of the first method, to which all but ``agreements`` belongs.
        scans: All scans.
        chosen: Numbers of the scans of the first method.
        design: Who scanned what, of the chosen scans.
        places: Places of the surface.
        ringed: Whether fields are means over rings about the axis, because the angle of a scan is arbitrary.
        spread: Mean and spread at each place.
        values: Measures of all scans, shape (n, q).
        names: Names of the measures.
        precision: Precision of each measure.
        levels: Precision of each measure for each part, by the names of measure and part.
        consistency: Tests for outliers: name of the measure, what was tested, test.
        shapes: Modes of variation, or why there are none.
        compared: What is compared in ``agreements``: names of two methods or operators; empty if
            nothing is.
        agreements: Agreement of both in each measure.
        study: The tolerance study beside, if one was given.
    """

    part: SimulatedPart
    settings: ComparisonSettings
    file: Path
    method: str
    scans: tuple[ScanField, ...]
    chosen: tuple[int, ...]
    design: ScanDesign
    places: Places
    ringed: bool
    spread: PointSpread
    values: FloatArray
    names: tuple[str, ...]
    precision: Mapping[str, Precision]
    levels: Mapping[tuple[str, str], Precision]
    consistency: tuple[tuple[str, str, Consistency], ...]
    shapes: ShapeModes | str
    compared: tuple[str, ...]
    agreements: Mapping[str, Agreement]
    study: StudyBeside | None

    def unit(self, name: str) -> str:
        """Unit of a measure."""
        return MEASURE_UNITS[name]


def repeatability(
    part: SimulatedPart,
    file: Path,
    entries: Sequence[ListedScan],
    settings: ComparisonSettings,
    *,
    study: StudyParts | None = None,
    by_hand: Sequence[HandMeasured] = (),
) -> Repeatability:
    """Compare listed scans with a simulated surface and with each other.

    Args:
        part: The simulated surface.
        file: The list, for sentences.
        entries: Its rows.
        settings: How scans are compared.
        study: Parts of a tolerance study.
        by_hand: Measures of the parts by hand.

    Raises:
        InputError: A scan cannot be compared.
    """
    places = places_of(part.surface)
    scans = [scan_field(part, places, entry, settings) for entry in entries]
    return analysed(part, file, places, scans, settings, study=study, by_hand=by_hand)


def analysed(
    part: SimulatedPart,
    file: Path,
    places: Places,
    scans: Sequence[ScanField],
    settings: ComparisonSettings,
    *,
    study: StudyParts | None = None,
    by_hand: Sequence[HandMeasured] = (),
) -> Repeatability:
    """Analyse what was taken from scans; see ``repeatability``."""
    entries = [scan.entry for scan in scans]
    scans, ringed = _comparable(scans, places)
    method, chosen = reference_scans(entries)
    design = design_of([entries[i] for i in chosen])
    names, values = _measured(scans)
    fields = np.array([scans[i].deviation for i in chosen])
    columns = list(zip(names, values[chosen].T, strict=True))
    methods = two_methods(entries, values, names, by_hand)
    found = Repeatability(
        part,
        settings,
        file,
        method,
        tuple(scans),
        tuple(chosen),
        design,
        places,
        ringed,
        point_spread(fields, design),
        values,
        names,
        dict(zip(names, precisions(values[chosen], design), strict=True)),
        {(name, level): p for name, v in columns for level, p in levels(v, design)},
        tuple((name, what, test) for name, v in columns for what, test in consistencies(v, design)),
        shape_modes(fields, design, places, patches_of([scans[i] for i in chosen], places, part, ringed)),
        methods.names,
        methods.agreements,
        None,
    )
    return found if study is None else replace(found, study=_study(found, study))


def _measured(scans: Sequence[ScanField]) -> tuple[tuple[str, ...], FloatArray]:
    """Names of the measures, and their values by scan and measure; ``nan`` where one is missing."""
    names = tuple(name for name in MEASURE_UNITS if any(name in scan.measures for scan in scans))
    values = np.array([[scan.measures.get(name, np.nan) for name in names] for scan in scans], dtype=float)
    values[~np.isfinite(values)] = np.nan
    return names, values


def _comparable(scans: Sequence[ScanField], places: Places) -> tuple[Sequence[ScanField], bool]:
    """Scans in agreeing poses; means around the axis where a scan can turn about it, and whether they are."""
    ringed = any(scan.turns for scan in scans)
    if ringed:
        scans = [_averaged(scan, places) for scan in scans]
    return _agreeing(scans, places), ringed


def _averaged(scan: ScanField, places: Places) -> ScanField:
    """A scan with means over rings about the axis."""
    own, *others = (ring_means(field, places.ring) for field in (scan.deviation, *scan.others))
    return scan._replace(deviation=own, others=np.array(others).reshape(-1, len(own)))


def _agreeing(scans: Sequence[ScanField], places: Places) -> list[ScanField]:
    """Scans in the poses in which they agree best, where a scan fits the surface in several."""
    fields = [np.vstack([scan.deviation, scan.others]) for scan in scans]
    chosen = agreeing_poses(fields, places.weight)
    rows = zip(scans, fields, chosen, strict=True)
    return [scan._replace(deviation=own[pose], posed=pose) for scan, own, pose in rows]


def _study(found: Repeatability, study: StudyParts) -> StudyBeside:
    shapes = simulated_shapes(study, found.part, found.places, found.settings)
    measured = {name: precision.parts for name, precision in found.precision.items()}
    round_parts = found.part.run.body.model == "axisymmetric"
    rows = beside(measured, study, shapes, found.settings.surface, round_parts=round_parts)
    return StudyBeside(study, shapes, rows)
