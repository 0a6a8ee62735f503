# SPDX-License-Identifier: MIT
"""Measures of a scan: those of its comparison, and sizes of the part itself."""

from collections.abc import Mapping

import numpy as np

from annelid.compare.comparison.simulated_part import SimulatedPart
from annelid.compare.deviation.quantities import UNITS
from annelid.compare.deviation.radius_field import RadiusField
from annelid.compare.deviation.radius_map import radius_map
from annelid.compare.deviation.signed import Deviations

MEASURE_UNITS: Mapping[str, str] = {
    **UNITS,
    "mean diameter": "mm",
    "largest diameter": "mm",
    "enclosed volume": "mm³",
}
"""Units of the measures of a scan: those of a comparison, and sizes of the part itself."""


def shape_measures(found: Deviations, radii: RadiusField | None) -> dict[str, float]:
    """Sizes of the part itself: mean and largest diameter of its sections, and the enclosed volume."""
    if radii is None:
        return {}
    cells = radius_map(found.points, radii)
    known = np.isfinite(cells.radius).any(axis=1)
    if not known.any():
        return dict.fromkeys(("mean diameter", "largest diameter", "enclosed volume"), np.nan)
    # Differences are averaged over what is seen, so that holes do not change the nominal shape.
    off = np.nanmean(cells.difference[known], axis=1)
    mean = cells.nominal[known].mean(axis=1) + off
    step = (cells.height[1] - cells.height[0]) * 2.0 * np.pi / len(cells.angle)
    nominal = 0.5 * step * float((cells.nominal**2).sum())
    return {
        "mean diameter": float(2.0 * (cells.nominal.mean() + off.mean())),
        "largest diameter": float(2.0 * mean.max()),
        "enclosed volume": nominal,
    }


def all_measures(given: Mapping[str, float], found: Deviations, part: SimulatedPart) -> dict[str, float]:
    """Measures of a comparison with those of the part itself."""
    sizes = shape_measures(found, part.radii)
    if sizes:
        sizes["enclosed volume"] += given.get("volume difference", np.nan)
    return {**{name: value for name, value in given.items() if name in UNITS}, **sizes}
