# SPDX-License-Identifier: MIT
"""Names and units of the quantities of a comparison."""

from collections.abc import Mapping

COVERAGE = "coverage"
RADIUS_AT = "radius at "
"""Begin of the name of the mean radius at a height, such as ``"radius at 12.5 mm"``."""
UNITS: Mapping[str, str] = {
    "mean deviation": "mm",
    "root mean square deviation": "mm",
    "5 % of deviations below": "mm",
    "95 % of deviations below": "mm",
    "largest deviation outward": "mm",
    "largest deviation inward": "mm",
    "surface profile": "mm",
    "largest local deviation outward": "mm",
    "largest local deviation inward": "mm",
    "local surface profile": "mm",
    "largest ovality": "mm",
    "largest eccentricity": "mm",
    "largest radius difference": "mm",
    "bend of the axis": "mm",
    "enclosed volume": "mm³",
    "volume difference": "mm³",
    COVERAGE: "1",
}
"""Units of the quantities by name."""


def unit_of(name: str) -> str:
    """Return the unit of a quantity, also of a radius at a height.

    Raises:
        KeyError: There is no such quantity.
    """
    return "mm" if name.startswith(RADIUS_AT) else UNITS[name]
