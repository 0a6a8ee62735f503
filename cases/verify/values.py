# SPDX-License-Identifier: MIT
"""The scalar quantities that the summary of a run names, with the states at which it does."""

import math
import re
from collections.abc import Iterator, Mapping
from typing import Any, NamedTuple

__all__ = ["Place", "Reported", "reported_values"]

_HEADER = re.compile(r"(.*) \[(.*)\]$")


class Place(NamedTuple):
    """A quantity and where it is reported."""

    quantity: str
    where: str


class Reported(NamedTuple):
    """A reported number in its internal unit; ``is_bound``: a lower bound, where a search ended."""

    value: float
    unit: str
    is_bound: bool = False


def reported_values(summary: Mapping[str, Any]) -> dict[Place, Reported]:
    """Return the numbers of a finished run by quantity and place, without those that have no value.

    These are the quantities and loads of the last state, quantities of required stages, stability margins,
    loads of critical points, and quantities of the whole path.
    """
    found = dict(_all(summary))
    return {place: number for place, number in found.items() if math.isfinite(number.value)}


def _all(summary: Mapping[str, Any]) -> Iterator[tuple[Place, Reported]]:
    last = summary.get("final_state") or {}
    for group in ("loads", "quantities"):
        yield from _members(last.get(group, {}), "at the last state")
    for verdict in summary.get("verdicts", ()):
        if verdict.get("stage"):
            place = Place(verdict["quantity"], f"at the end of stage '{verdict['stage']}'")
            yield place, Reported(_number(verdict["value"]), verdict["unit"], bool(verdict["is_bound"]))
    for margin in (summary.get("outcome") or {}).get("margins", ()):
        name = f"stability margin {margin['load']}"
        yield Place(name, ""), Reported(_number(margin["value"]), "1", bool(margin["is_bound"]))
    for number, point in enumerate(summary.get("critical_points", ()), start=1):
        yield from _members(point["loads"], f"at critical point {number} ({point['kind']})")
    yield from _members(summary.get("path_quantities", {}), "of the path")


def _members(entries: Mapping[str, Any], where: str) -> Iterator[tuple[Place, Reported]]:
    for header, value in entries.items():
        match = _HEADER.match(header)
        if match:
            yield Place(match[1], where), Reported(_number(value), match[2])


def _number(value: Any) -> float:
    """A number of a summary; JSON has no NaN and infinity, which are stored as text."""
    try:
        return float(value)
    except (TypeError, ValueError):
        return math.nan
