# SPDX-License-Identifier: MIT
"""Units in which the results of a case are shown."""

import re

from annelid.cases.schema.case import Case
from annelid.cases.schema.units import parse
from annelid.solver.display import KINDS, DisplayUnit, DisplayUnits

__all__ = ["display_units_of"]

_TYPESET = {"um": "µm", "uC": "µC", "uJ": "µJ", "uL": "µL", "deg": "°", "^2": "²", "^3": "³"}


def display_units_of(case: Case) -> DisplayUnits:
    """Return the units in which the results of a resolved case are shown."""
    return DisplayUnits(
        {
            kind: tuple(
                DisplayUnit(_typeset(name), 1 / parse(f"1 {name}", KINDS[kind].unit)) for name in names
            )
            for kind, names in case.output.units.items()
        }
    )


def _typeset(name: str) -> str:
    name = re.sub(r"([A-Za-z])([23])\b", r"\1^\2", name)
    for written, shown in _TYPESET.items():
        name = (
            re.sub(rf"(?<![A-Za-z]){re.escape(written)}(?![A-Za-z])", shown, name)
            if "^" not in written
            else name.replace(written, shown)
        )
    return name
