# SPDX-License-Identifier: MIT
"""Quantities of a comparison by name."""

from dataclasses import dataclass
from functools import cached_property
from typing import NamedTuple

import numpy as np

from annelid.compare.deviation.coverage import SurfaceDeviations
from annelid.compare.deviation.quantity_names import RADIUS_AT, UNITS
from annelid.compare.deviation.radius_field import RadiusField
from annelid.compare.deviation.radius_map import enclosed_volume, radius_map
from annelid.compare.deviation.sections import Sections, fitted_sections, nominal_sections
from annelid.compare.deviation.signed import Deviations
from annelid.compare.deviation.statistics import DeviationStatistics, statistics, surface_profile
from annelid.geometry.body import FloatArray

PERCENTILES = (5.0, 95.0)
_SECTIONS = 20
_ENOUGH = 200_000  # points; of more, only every second one and so on enters sections and volume


class Uncertain(NamedTuple):
    """A quantity and its uncertainty, in the unit of the quantity.

    Attributes:
        value: From all points.
        standard_deviation: Of pose, points and scanner together.
        low: 2.5th percentile of the replicates, moved so that their median is the value.
        high: 97.5th percentile.
        from_pose: Standard deviation if only the pose (and the common error of the scanner) is uncertain.
        from_patches: Standard deviation if only the points are: noise, and what holes hide.
    """

    value: float
    standard_deviation: float
    low: float
    high: float
    from_pose: float
    from_patches: float


@dataclass(frozen=True)
class Measures:
    """Measures the quantities of a comparison, those of sections only if there is a field of radii.

    Attributes:
        field: Radius of the simulated surface.
        heights: Heights at which the radius is asked for, mm.
    """

    field: RadiusField | None = None
    heights: tuple[float, ...] = ()

    @cached_property
    def nominal(self) -> Sections:
        """Sections of the simulated surface."""
        assert self.field is not None
        step = (self.field.heights[-1] - self.field.heights[0]) / _SECTIONS
        return nominal_sections(self.field.heights[0] + step * (np.arange(_SECTIONS) + 0.5), self.field)

    def __call__(self, found: Deviations, seen: SurfaceDeviations) -> dict[str, float]:
        """Return the quantities by name.

        Args:
            found: Deviations of the aligned scan.
            seen: The same seen from the surface.
        """
        summary = statistics(found.value, found.foot, percentiles=PERCENTILES)
        known = seen.value[seen.covered]
        local = (float(known.max()), float(known.min())) if known.size else (np.nan, np.nan)
        values = self.of_points(summary, local)
        if self.field is not None:
            points = found.points[:: 1 + len(found.points) // _ENOUGH]
            volume = enclosed_volume(radius_map(points, self.field))
            sections = fitted_sections(points, self.nominal.height, self.field)
            values |= self.of_shape(sections, volume.scan, volume.nominal)
        return values

    def of_points(self, summary: DeviationStatistics, local: tuple[float, float]) -> dict[str, float]:
        """Return the quantities of the points alone.

        Args:
            summary: Their statistics.
            local: Largest and smallest deviation seen from the surface, mm.
        """
        values = [summary.mean, summary.rms, *summary.percentiles.values()]
        values += [summary.largest.value, summary.smallest.value, summary.profile]
        values += [*local, surface_profile(*local)]
        return dict(zip(UNITS, values, strict=False))

    def of_shape(self, sections: Sections, volume: float, nominal_volume: float) -> dict[str, float]:
        """Return the quantities of sections and volume.

        Args:
            sections: Of the scan.
            volume: Enclosed by the scan, mm³.
            nominal_volume: Enclosed by the simulated surface, mm³.
        """
        excess = sections.radius - self.nominal.radius
        radii = self._radii(excess)
        return {
            "largest ovality": _largest(sections.ovality),
            "largest eccentricity": _largest(sections.eccentricity(self.nominal)),
            "largest radius difference": _largest(np.abs(excess)),
            "bend of the axis": sections.bend,
            "enclosed volume": volume,
            "volume difference": volume - nominal_volume,
        } | {f"{RADIUS_AT}{height:.12g} mm": r for height, r in zip(self.heights, radii, strict=True)}

    @cached_property
    def _nominal_radii(self) -> FloatArray:
        assert self.field is not None
        around, heights = self.field.angles[:-1], np.asarray(self.heights, dtype=float)
        radius = self.field.at(np.repeat(heights, len(around)), np.tile(around, len(heights)))
        return np.asarray(radius.reshape(len(heights), -1).mean(axis=1))

    def _radii(self, excess: FloatArray) -> list[float]:
        """Mean radius at the asked heights; the difference of the sections is interpolated between them."""
        known = np.isfinite(excess)
        if not self.heights or known.sum() < 2:
            return [np.nan] * len(self.heights)
        more = np.interp(self.heights, self.nominal.height[known], excess[known])
        return (self._nominal_radii + more).tolist()


def _largest(values: FloatArray) -> float:
    known = values[np.isfinite(values)]
    return float(known.max()) if known.size else float("nan")
