# SPDX-License-Identifier: MIT
"""Parts of a tolerance study beside scanned ones: which scatter of inputs would make this spread?"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import NamedTuple

import numpy as np
from scipy import stats

from annelid.compare.alignment.nominal import nominal_surface
from annelid.compare.alignment.poses import Pose, motion_matrix
from annelid.compare.comparison.map_surface import spot_deviations
from annelid.compare.comparison.simulated_part import ComparisonSettings, SimulatedPart
from annelid.compare.deviation.coverage import surface_deviations
from annelid.compare.deviation.quantities import Measures
from annelid.compare.deviation.signed import deviations
from annelid.compare.repeatability.places import Places
from annelid.compare.repeatability.precision import FEWEST_DEGREES, StandardDeviation
from annelid.compare.repeatability.scan_measures import all_measures
from annelid.geometry.body import FloatArray
from annelid.geometry.errors import InputError
from annelid.results.folder.run_record import open_run

_SAMPLES = 20_000
_IN_SPOT = 16  # of them around each place
_FEWEST = 3
_ROUNDS = 3
_SMALL = 0.03  # of the largest singular value: a motion that moves nearly nothing along the normals is free
SAME: Mapping[str, Mapping[str, str]] = {
    "lumen": {"enclosed volume": "lumen volume", "largest diameter": "largest diameter"},
    "outer": {},
}
"""Quantities of a study that mean the same as a measure of a scan, by the scanned surface."""
NOISY = (
    "root mean square deviation",
    "5 % of deviations below",
    "95 % of deviations below",
    "largest deviation outward",
    "largest deviation inward",
    "surface profile",
    "largest local deviation outward",
    "largest local deviation inward",
    "local surface profile",
    "largest radius difference",
)
"""Measures that contain the noise of the scanner, which simulated parts do not have."""


NOT_ROUND = ("largest ovality", "largest eccentricity", "bend of the axis")
"""Measures that are zero if a part is round about a straight axis."""


@dataclass(frozen=True)
class StudyParts:
    """Parts of a tolerance study at their full load.

    Attributes:
        folder: The study folder.
        title: Title of the study.
        runs: Run folders, one for each part.
        quantities: Reported quantities by name, one value for each part, internal units.
        explain: Returns the share of each varied input in the variance of such values, and the method; empty
            if it is not known.
    """

    folder: Path
    title: str
    runs: tuple[Path, ...]
    quantities: Mapping[str, FloatArray]
    explain: Callable[[FloatArray], tuple[Mapping[str, float], str]]


class Beside(NamedTuple):
    """A measured spread between parts beside the simulated one; in the unit of the measure.

    Attributes:
        measure: Name of the measure.
        measured: Standard deviation between the scanned parts.
        simulated: That of the simulated parts, and its confidence interval.
        source: ``"shapes"`` of the simulated parts, or the ``"table"`` of the study.
        ratio: Measured over simulated.
        low: Lower end of its 95 % confidence interval.
        high: Upper end.
        shares: Share of each input in the simulated variance.
        method: How these shares were found.
    """

    measure: str
    measured: StandardDeviation
    simulated: StandardDeviation
    source: str
    ratio: float
    low: float
    high: float
    shares: Mapping[str, float]
    method: str


class SimulatedShapes(NamedTuple):
    """Shapes of the parts of a study.

    Attributes:
        measures: Values by name, one for each part.
        spread: Standard deviation at each place, shape (m,), mm.
        without: Why there are no shapes; "" if there are.
    """

    measures: Mapping[str, FloatArray]
    spread: FloatArray
    without: str


def simulated_shapes(
    study: StudyParts, part: SimulatedPart, places: Places, settings: ComparisonSettings
) -> SimulatedShapes:
    """Measure the simulated parts of a study as if they had been scanned without error.

    Each is aligned with the nominal surface by least squares of its deviations, as scans are.
    """
    rows, fields = [], []
    least = float(np.sqrt(_IN_SPOT * part.surface.areas.sum() / (np.pi * _SAMPLES)))
    for path in study.runs:
        try:
            surface = nominal_surface(open_run(path), name=settings.surface)
        except InputError as error:
            text = 'the study kept no fields of its runs (output keep = "stage ends")'
            return SimulatedShapes({}, np.full(len(places.points), np.nan), f"{text}: {error.message}")
        points = surface.sampled(_SAMPLES)[0]
        for _ in range(_ROUNDS):
            found = deviations(points, part.locator, reach=part.reach)
            points = _laid(points, found.points, found.normal, found.value, part.surface.centroid)
        found = deviations(points, part.locator, reach=part.reach)
        if len(found.value) < _SAMPLES // 2:
            text = f"run {path.name} of the study is not a shape like that of the part"
            raise InputError(f"{study.folder}: {text}; give the study of this case", key="--study")
        rows.append(
            all_measures(Measures(part.radii)(found, surface_deviations(found, part.surface)), found, part)
        )
        fields.append(spot_deviations(found, part.surface, places.points, least).value)
    table = {name: np.array([row[name] for row in rows]) for name in rows[0]}
    return SimulatedShapes(table, np.std(fields, axis=0, ddof=1), "")


def beside(
    measured: Mapping[str, StandardDeviation],
    study: StudyParts,
    shapes: SimulatedShapes,
    surface: str,
    *,
    round_parts: bool = False,
) -> list[Beside]:
    """Lay measured and simulated spreads of the same quantities beside each other, but for noisy ones.

    Parts of an axisymmetric model (``round_parts``) have no ovality, no eccentricity and no bend.

    The interval of the ratio is that of the F distribution for normal values: the degrees of freedom of the
    measured variance are those of Satterthwaite if scans are repeated.
    """
    rows = []
    for name, found in measured.items():
        if name in NOISY or (round_parts and name in NOT_ROUND):
            continue
        from_table = SAME[surface].get(name, "")
        values, source = shapes.measures.get(name), "shapes"
        if values is None and from_table in study.quantities:
            values, source = study.quantities[from_table], "table"
        if values is None or np.isfinite(values).sum() < _FEWEST or not np.isfinite(found.value):
            continue
        known = values[np.isfinite(values)]
        spread, degrees = float(known.std(ddof=1)), len(known) - 1
        if not spread > 1e-9 * max(float(np.abs(known).max()), 1e-300):
            continue
        low, high = (float(spread * np.sqrt(degrees / stats.chi2.ppf(q, degrees))) for q in (0.975, 0.025))
        ratio = found.value / spread
        low_ratio = high_ratio = float("nan")
        if found.degrees >= FEWEST_DEGREES:
            upper, lower = (float(stats.f.ppf(q, found.degrees, degrees)) for q in (0.975, 0.025))
            low_ratio, high_ratio = float(ratio / np.sqrt(upper)), float(ratio / np.sqrt(lower))
        shares, method = study.explain(values)
        simulated = StandardDeviation(spread, low, high, float(degrees))
        rows.append(Beside(name, found, simulated, source, ratio, low_ratio, high_ratio, shares, method))
    return rows


def _laid(
    points: FloatArray, places: FloatArray, normals: FloatArray, value: FloatArray, centre: FloatArray
) -> FloatArray:
    """Move points by the small motion that makes deviations smallest; free motions are left out."""
    rows = motion_matrix(places - centre, normals)
    size = np.linalg.norm(places - centre, axis=1).mean()
    scale = np.array([1.0 / size] * 3 + [1.0] * 3)
    motion = scale * (np.linalg.pinv(rows * scale, rcond=_SMALL) @ -value)
    return np.asarray(Pose(np.eye(3), np.zeros(3)).moved(motion, centre).apply(points))
