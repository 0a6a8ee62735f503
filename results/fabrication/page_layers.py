# SPDX-License-Identifier: MIT
"""The table of layers on the page of a fabrication sheet."""

from collections.abc import Sequence
from itertools import groupby

from annelid.geometry.fabrication.plan import CastSheet, FabricationPlan
from annelid.results.fabrication.tables import blank_size
from annelid.solver.display import DisplayUnits


def by_layer(plan: FabricationPlan) -> list[list[CastSheet]]:
    """Return the sheets of each layer, in order."""
    return [list(group) for _, group in groupby(plan.sheets, lambda sheet: sheet.layer)]


def layer_rows(plan: FabricationPlan, units: DisplayUnits) -> list[tuple[str, ...]]:
    """Return the numbered rows of the table of layers."""
    rows = (_layer_row(sheets, plan, units) for sheets in by_layer(plan))
    return [(f"{number}. {first}", *rest) for number, (first, *rest) in enumerate(rows, start=1)]


def _layer_row(sheets: list[CastSheet], plan: FabricationPlan, units: DisplayUnits) -> tuple[str, ...]:
    """A row of the table of layers: its sheets have one thickness and grow in circumference."""
    first, last = sheets[0], sheets[-1]
    blanks = [blank_size(sheet, plan.settings) for sheet in (first, last)]
    return (
        first.layer + (" (cast over the lattice)" if first.is_cover else ""),
        first.material,
        str(first.count),
        units.show("thickness", first.thickness),
        units.show("thickness", first.mounted_thickness),
        _passes(first.thickness, plan, units),
        _range([first.diameter], units),
        _range([blank and blank[0] for blank in blanks], units),
        _range([blank and blank[1] for blank in blanks], units),
        _volume(sheets, units),
    )


def _passes(thickness: float, plan: FabricationPlan, units: DisplayUnits) -> str:
    """The number of passes, and the thickness of the last one if it is thinner than the others."""
    passes = plan.settings.passes(thickness)
    if passes is None:
        return "not given"
    last = units.show("thickness", passes[1])
    if last == units.show("thickness", plan.settings.pass_thickness or 0.0):
        return str(passes[0])
    return f"{passes[0]}, the last {last}"


def _range(values: Sequence[float | None], units: DisplayUnits) -> str:
    shown = [units.show("length", value) for value in values if value is not None]
    return " to ".join(dict.fromkeys(shown))


def _volume(sheets: Sequence[CastSheet], units: DisplayUnits) -> str:
    volumes = [sheet.volume for sheet in sheets if sheet.volume is not None]
    return units.show("volume", sum(volumes)) if volumes else ""
