# SPDX-License-Identifier: MIT
"""How certain the quantities of a comparison are: replicates of pose, points and scanner."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from annelid.compare.alignment.poses import motion_matrix
from annelid.compare.alignment.surface import NominalSurface
from annelid.compare.deviation.coverage import SurfaceDeviations
from annelid.compare.deviation.linear_shape import LinearSections, LinearVolume
from annelid.compare.deviation.quantities import PERCENTILES, Measures, Uncertain
from annelid.compare.deviation.quantity_names import COVERAGE
from annelid.compare.deviation.signed import Deviations
from annelid.compare.deviation.statistics import statistics
from annelid.geometry.body import FloatArray, IntArray

_REPLICATES = 100
_PATCHES = 200
_POINTS = 10_000
_BAND = (2.5, 97.5)


def with_uncertainty(
    found: Deviations,
    seen: SurfaceDeviations,
    measures: Measures,
    surface: NominalSurface,
    covariance: FloatArray,
    *,
    scanner: float = 0.0,
    replicates: int = _REPLICATES,
    seed: int = 0,
) -> dict[str, Uncertain]:
    """Return quantities with the uncertainty from noise, pose, coverage and scanner.

    Patches of the surface are drawn again with replacement, with all their points (the bootstrap of clusters,
    Davison and Hinkley 1997, from memory), and the scan is moved by motions drawn from the covariance of its
    pose and by a common error along the normals. It is assumed that what holes hide is like what is seen. The
    uncertainty of extremes, and so of surface profiles, is understated, because no replicate has a larger one
    than the scan. Fits of sections and radii are linear in the replicates, with the weights of the scan.

    Args:
        found: Deviations of the aligned scan.
        seen: The same seen from the surface.
        measures: The quantities.
        surface: The surface.
        covariance: Of the motion about the centroid of the surface (rad and mm), shape (6, 6).
        scanner: Standard uncertainty of an error that all points share along the normals, mm.
        replicates: Number of replicates.
        seed: Of the random numbers.
    """
    rng = np.random.default_rng(seed)
    exact = measures(found, seen)
    if len(found.value) > _POINTS:
        found = found.chosen(np.sort(rng.choice(len(found.value), _POINTS, replace=False)))
    linear = _linear(found, seen, measures, surface)
    count = int(linear.patch.max()) + 1
    draws = rng.multinomial(count, np.full(count, 1.0 / count), size=replicates).astype(float)
    motions = rng.multivariate_normal(np.zeros(6), covariance, size=replicates)
    motions = np.column_stack([motions, scanner * rng.standard_normal(replicates)])
    still, even = np.zeros(7), np.ones(count)
    pairs = list(zip(motions, draws, strict=True))
    patches = _spread([linear.values(still, draw) for draw in draws])
    both = _spread([linear.values(motion, draw) for motion, draw in pairs])
    pose = _spread([linear.values(motion, even) for motion in motions])
    values = np.array(list(exact.values()))
    low, high = both[1:3] + values
    low = np.where(both[3] >= 0.0, np.maximum(low, 0.0), low)  # a quantity that is never negative
    table = np.stack([both[0], low, high, pose[0], patches[0]])
    found_values = {
        name: Uncertain(exact[name], *column) for name, column in zip(exact, table.T.tolist(), strict=True)
    }
    return found_values | {COVERAGE: _coverage(seen)}


@dataclass(frozen=True)
class _Linear:
    """Quantities after a small motion, with patches that count differently often.

    Attributes:
        found: Deviations.
        rows: How each changes with a motion (rotation, shift, common error), shape (n, 7).
        patch: Patch of each, shape (n,).
        seen: Covered places: deviations, shape (m,), mm; their rows, shape (m, 7); and patches, shape (m,).
        measures: The quantities.
        sections: Sections, if there are radii.
        volume: Volume, if there are radii.
    """

    found: Deviations
    rows: FloatArray
    patch: IntArray
    seen: tuple[FloatArray, FloatArray, IntArray]
    measures: Measures
    sections: LinearSections | None
    volume: LinearVolume | None

    def values(self, motion: FloatArray, draw: FloatArray) -> dict[str, float]:
        value = self.found.value + self.rows @ motion
        summary = statistics(value, self.found.foot, weight=draw[self.patch], percentiles=PERCENTILES)
        places, rows, patch = self.seen
        drawn = draw[patch] > 0
        moved = places[drawn] + rows[drawn] @ motion
        local = (float(moved.max()), float(moved.min())) if moved.size else (np.nan, np.nan)
        values = self.measures.of_points(summary, local)
        if self.sections is not None and self.volume is not None:
            sections, volume = self.sections.at(motion, draw), self.volume.at(motion, draw)
            values |= self.measures.of_shape(sections, volume, self.volume.nominal)
        return values


def _linear(
    found: Deviations, seen: SurfaceDeviations, measures: Measures, surface: NominalSurface
) -> _Linear:
    place, normal = seen.place[seen.covered], seen.normal[seen.covered]
    both = surface.patches(np.concatenate([found.foot, place]), _PATCHES)
    # Places have no patches of their own: with none of the points they take part in every replicate.
    _, patch = np.unique(both[: len(found.foot)], return_inverse=True)
    known = {int(cube): int(number) for cube, number in zip(both, patch, strict=False)}
    places = np.array([known.get(int(cube), 0) for cube in both[len(found.foot) :]], dtype=np.int64)
    rows, there = (
        np.column_stack([motion_matrix(x - surface.centroid, n), np.ones(len(x))])
        for x, n in ((found.points, found.normal), (place, normal))
    )
    sections = volume = None
    if measures.field is not None:
        given = (found.points, found.normal, patch, surface.centroid, measures.field)
        sections = LinearSections.of(*given, measures.nominal.height)
        volume = LinearVolume.of(*given)
    return _Linear(found, rows, patch, (seen.value[seen.covered], there, places), measures, sections, volume)


def _spread(rows: list[Mapping[str, float]]) -> FloatArray:
    """Standard deviation, percentiles less the median, and smallest of each quantity, (4, quantities)."""
    table = np.array([list(row.values()) for row in rows])
    spread = np.full((4, table.shape[1]), np.nan)
    known = np.isfinite(table).sum(axis=0) > 1
    table = table[:, known]
    low, high = np.nanpercentile(table, _BAND, axis=0) - np.nanmedian(table, axis=0)
    spread[:, known] = [np.nanstd(table, axis=0, ddof=1), low, high, np.nanmin(table, axis=0)]
    return spread


def _coverage(seen: SurfaceDeviations) -> Uncertain:
    """Coverage with the uncertainty of counting places."""
    deviation = float(np.sqrt(seen.coverage * (1.0 - seen.coverage) / len(seen.place)))
    low, high = (float(np.clip(seen.coverage + 1.96 * k * deviation, 0.0, 1.0)) for k in (-1, 1))
    return Uncertain(seen.coverage, deviation, low, high, 0.0, deviation)
