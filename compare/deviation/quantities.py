# SPDX-License-Identifier: MIT
"""Quantities of a comparison by name, and how certain they are."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import NamedTuple

import numpy as np

from annelid.compare.alignment.poses import Pose, motion_matrix
from annelid.compare.alignment.surface import NominalSurface
from annelid.compare.deviation.radius_field import RadiusField
from annelid.compare.deviation.radius_map import enclosed_volume, radius_map
from annelid.compare.deviation.sections import Sections, fitted_sections, nominal_sections
from annelid.compare.deviation.signed import Deviations
from annelid.compare.deviation.statistics import statistics
from annelid.geometry.body import FloatArray

UNITS: Mapping[str, str] = {
    "mean deviation": "mm",
    "root mean square deviation": "mm",
    "5 % of deviations below": "mm",
    "95 % of deviations below": "mm",
    "largest deviation outward": "mm",
    "largest deviation inward": "mm",
    "surface profile": "mm",
    "largest ovality": "mm",
    "largest eccentricity": "mm",
    "bend of the axis": "mm",
    "volume difference": "mm³",
}
"""Units of the quantities by name."""
_SECTIONS = 20
_REPLICATES = 100
_PATCHES = 200
_POINTS = 10_000
_BAND = (2.5, 97.5)


class Uncertain(NamedTuple):
    """A quantity and its uncertainty, in the unit of the quantity.

    Attributes:
        value: From all points.
        standard_deviation: Of pose and patches together.
        low: 2.5th percentile of the replicates, moved so that their median is the value.
        high: 97.5th percentile.
        from_pose: Standard deviation if only the pose is uncertain.
        from_patches: Standard deviation if only the points are: noise, and what holes hide.
    """

    value: float
    standard_deviation: float
    low: float
    high: float
    from_pose: float
    from_patches: float


type Measure = Callable[[Deviations, FloatArray], Mapping[str, float]]
"""Quantities of deviations with weights."""


@dataclass(frozen=True)
class Measures:
    """Measures the quantities of a comparison, those of sections only if there is a field of radii.

    Attributes:
        field: Radius of the simulated surface.
    """

    field: RadiusField | None = None

    @cached_property
    def _nominal(self) -> Sections:
        assert self.field is not None
        step = (self.field.heights[-1] - self.field.heights[0]) / _SECTIONS
        return nominal_sections(self.field.heights[0] + step * (np.arange(_SECTIONS) + 0.5), self.field)

    def __call__(self, found: Deviations, weight: FloatArray) -> dict[str, float]:
        """Return the quantities by name.

        Args:
            found: Deviations of the aligned scan.
            weight: Weights of its points, shape (n,).
        """
        summary = statistics(found.value, found.foot, weight=weight, percentiles=(5.0, 95.0))
        values = [summary.mean, summary.rms, *summary.percentiles.values()]
        values += [summary.largest.value, summary.smallest.value, summary.profile]
        if self.field is not None:
            nominal = self._nominal
            sections = fitted_sections(found.points, nominal.height, self.field, weight=weight)
            for size in (sections.ovality, sections.eccentricity(nominal)):
                known = size[np.isfinite(size)]
                values.append(float(known.max()) if known.size else float("nan"))
            cells = radius_map(found.points, self.field, weight=weight)
            values += [sections.bend, enclosed_volume(cells).difference]
        return dict(zip(UNITS, values, strict=False))


def with_uncertainty(
    found: Deviations,
    measure: Measure,
    surface: NominalSurface,
    covariance: FloatArray,
    *,
    replicates: int = _REPLICATES,
    seed: int = 0,
) -> dict[str, Uncertain]:
    """Return quantities with the uncertainty from noise, pose and coverage.

    Patches of the surface are drawn again with replacement, with all their points (the bootstrap of clusters,
    Davison and Hinkley 1997, from memory), and the scan is moved by motions drawn from the covariance of its
    pose. It is assumed that what holes hide is like what is seen. The uncertainty of extremes, and so of the
    surface profile, is understated, because no replicate has a larger one than the scan.

    Args:
        found: Deviations of the aligned scan.
        measure: Quantities of deviations with weights.
        surface: The surface.
        covariance: Of the motion about the centroid of the surface (rad and mm), shape (6, 6).
        replicates: Number of replicates.
        seed: Of the random numbers.
    """
    rng = np.random.default_rng(seed)
    exact = measure(found, np.ones(len(found.value)))
    if len(found.value) > _POINTS:
        found = found.chosen(np.sort(rng.choice(len(found.value), _POINTS, replace=False)))
    patch = surface.patches(found.foot, _PATCHES)
    count, even = int(patch.max()) + 1, np.ones(len(found.value))
    draws = rng.multinomial(count, np.full(count, 1.0 / count), size=replicates).astype(float)
    motions = rng.multivariate_normal(np.zeros(6), covariance, size=replicates)
    moved = [_moved(found, surface, motion) for motion in motions]
    both = _spread([measure(place, draw[patch]) for place, draw in zip(moved, draws, strict=True)])
    pose = _spread([measure(place, even) for place in moved])
    patches = _spread([measure(found, draw[patch]) for draw in draws])
    table = np.stack([both[0], *(both[1:] + list(exact.values())), pose[0], patches[0]])
    return {
        name: Uncertain(exact[name], *column) for name, column in zip(exact, table.T.tolist(), strict=True)
    }


def _spread(rows: list[Mapping[str, float]]) -> FloatArray:
    """Standard deviation of each quantity, and percentiles less the median, shape (3, quantities)."""
    table = np.array([list(row.values()) for row in rows])
    low, high = np.nanpercentile(table, _BAND, axis=0) - np.nanmedian(table, axis=0)
    return np.stack([np.nanstd(table, axis=0, ddof=1), low, high])


def _moved(found: Deviations, surface: NominalSurface, motion: FloatArray) -> Deviations:
    """Deviations after a small motion of the scan: distances change by its part along the normals."""
    identity = Pose(np.eye(3), np.zeros(3))
    points = identity.moved(motion, surface.centroid).apply(found.points)
    rows = motion_matrix(found.points - surface.centroid, found.normal)
    return found._replace(points=points, value=found.value + rows @ motion)
