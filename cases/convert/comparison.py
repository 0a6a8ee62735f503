# SPDX-License-Identifier: MIT
"""From the table ``[comparison]`` to the records of a comparison."""

from collections.abc import Iterator
from dataclasses import replace
from typing import TYPE_CHECKING

from annelid.cases.schema.comparison import CleaningTable
from annelid.cases.schema.stage import LimitTable
from annelid.cases.schema.units import UnitError, parse
from annelid.geometry.errors import InvalidValue

if TYPE_CHECKING:  # imported when a case has the table
    from annelid.compare.comparison.limits import Condition, MeasuredLimit
    from annelid.compare.scans.cleaning_settings import Cleaning

__all__ = ["cleaning_of", "limits_of"]

_FIELDS = {
    "voxel": "voxel_mm",
    "outlier_strength": "outlier_deviations",
    "grazing_angle": "grazing_angle_deg",
}


def cleaning_of(table: CleaningTable) -> "Cleaning":
    """Return how a scan is cleaned.

    Raises:
        InvalidValue: A value is out of its range, or cleaning is off and something is to be removed.
    """
    from annelid.compare.scans.cleaning_settings import Cleaning

    given = {key: value for key, value in table if value is not None and key != "off"}
    if table.off:
        if given:
            raise InvalidValue(f"removes nothing, but {', '.join(given)} is given, too", key="off")
        return Cleaning.none()
    names = {_FIELDS.get(key, key): key for key in given}
    if "grazing_angle" in given and not {"scanner_position", "view_direction"}.intersection(given):
        text = "needs scanner_position or view_direction, from which the part was seen"
        raise InvalidValue(text, key="grazing_angle")
    try:
        return replace(Cleaning(), **{name: given[key] for name, key in names.items()})
    except InvalidValue as error:
        raise InvalidValue(error.problem, key=names.get(error.key, error.key), **error.data) from None


def limits_of(table: LimitTable) -> "Iterator[MeasuredLimit]":
    """Yield the one or two limits of a requirement.

    Raises:
        InvalidValue: There is no such quantity, or a limit has another unit.
    """
    from annelid.compare.comparison.limits import MeasuredLimit
    from annelid.compare.deviation.quantity_names import RADIUS_AT, unit_of

    name = table.quantity
    if name.startswith(RADIUS_AT):
        try:
            name = f"{RADIUS_AT}{parse(name.removeprefix(RADIUS_AT), 'mm'):.12g} mm"
        except UnitError as error:
            text = f"'{name}': {error}; write a height such as '{RADIUS_AT}12 mm'"
            raise InvalidValue(text, key="quantity") from None
    bounds: dict[Condition, float | str | None] = {"at least": table.at_least, "at most": table.at_most}
    if all(bound is None for bound in bounds.values()):
        raise InvalidValue("has no limit: give at_least or at_most")
    for condition, bound in bounds.items():
        if bound is not None:
            MeasuredLimit(name, condition, 0.0)  # refuses an unknown quantity before its unit is looked up
            yield MeasuredLimit(name, condition, _bound(bound, unit_of(name), condition.replace(" ", "_")))


def _bound(bound: float | str, unit: str, key: str) -> float:
    unit = unit.replace("³", "3")
    try:
        return parse(bound, unit)
    except UnitError as error:
        example = "'95 %'" if unit == "1" else f"'0.2 {unit}'"
        raise InvalidValue(f"{error}; write a limit such as {example}", key=key) from None
