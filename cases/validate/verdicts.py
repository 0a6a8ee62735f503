# SPDX-License-Identifier: MIT
"""Verdicts: the requirements of a case, evaluated at the end of a run."""

import math
from collections.abc import Mapping, Sequence

from annelid.cases.schema.case import Case
from annelid.cases.schema.stage import BOUNDS
from annelid.cases.schema.units import parse
from annelid.cases.validate.reported import margins_of
from annelid.results.folder.run_records import Verdict
from annelid.solver.model.cycle_quantities import CYCLE_DIFFERENCE, CYCLE_QUANTITIES, STROKE_VOLUME
from annelid.solver.model.quantities import (
    LARGEST_TRUE_FIELD,
    LEAK_GAP,
    LEAK_PRESSURE,
    LUMEN_PRESSURE,
    quantity_of,
)
from annelid.solver.records import Margin, Measure

__all__ = ["Quantities", "verdicts"]

Quantities = Mapping[str, Measure]


def verdicts(
    case: Case,
    last: Quantities,
    ends: Mapping[str, Quantities],
    margins: Sequence[Margin] = (),
    *,
    reached: bool = True,
    whole: Quantities | None = None,
) -> tuple[Verdict, ...]:
    """Evaluate the requirements of a resolved case.

    A requirement without a stage holds at the requested loads, so it is not met if they were not reached.

    Args:
        case: The case.
        last: Quantities of the last state.
        ends: Quantities at the end of every completed stage, by stage.
        margins: Stability margins of the path.
        reached: Whether the path reached all requested loads.
        whole: Quantities of the whole path.
    """
    results = []
    for requirement in case.requirements:
        name, stage = requirement.quantity, requirement.stage
        unit = quantity_of(name).unit
        margin, is_bound = next((m for m in margins if m.quantity == name), None), False
        if name in margins_of(case):
            value, where = (margin.value, _margin_text(margin)) if margin else (math.nan, "no such load acts")
        elif quantity_of(name).of_path:
            value, where = _path_value(name, whole or {})
        else:
            value, where, is_bound = _value(name, stage, last, ends)
        judged = reached or stage is not None or margin is not None
        if not judged:
            where += "; the requested loads were not reached"
        is_bound = is_bound or (margin is not None and margin.is_bound)
        for key in BOUNDS:
            limit = getattr(requirement, key)
            if limit is not None:
                bound = parse(limit, unit)
                met = value >= bound if key == "at_least" else value <= bound and not is_bound
                words = key.replace("_", " ")
                answer = met and judged
                results.append(Verdict(name, words, bound, value, unit, answer, where, is_bound, stage or ""))
    return tuple(results)


def _path_value(name: str, whole: Quantities) -> tuple[float, str]:
    value = whole[name].value if name in whole else math.nan
    return value, "on the whole path" if not math.isnan(value) else f"{_missing(name, whole)} on this path"


def _missing(name: str, whole: Quantities) -> str:
    """What a path lacks that has no value of a quantity."""
    stroke = whole.get(STROKE_VOLUME.name)
    if quantity_of(name) in CYCLE_QUANTITIES and (stroke is None or math.isnan(stroke.value)):
        return "no whole cycle"
    return "no two whole cycles" if name == CYCLE_DIFFERENCE.name else "not"


def _margin_text(margin: Margin) -> str:
    """Describe where the critical point of a margin is."""
    if math.isnan(margin.value):
        return margin.text
    if margin.is_bound:
        return "no critical point up to there"
    return (
        f"{margin.kind} {'short of the requested load' if margin.value < 1 else 'ahead of the working point'}"
    )


def _value(
    name: str, stage: str | None, last: Quantities, ends: Mapping[str, Quantities]
) -> tuple[float, str, bool]:
    """Return the value of a quantity at the state of a requirement, where that is, and if it is a bound."""
    state = last if stage is None else ends.get(stage, {})
    if stage is not None and stage not in ends:
        return math.nan, f"stage '{stage}' was not completed", False
    where = "at the last state" if stage is None else f"at the end of stage '{stage}'"
    field = state.get(LARGEST_TRUE_FIELD.name)
    if quantity_of(name).needs_voltage and field is not None and field.value == 0:
        return math.nan, f"no voltage {where}", False
    value = state[name].value if name in state else math.nan
    if name == LEAK_PRESSURE.name and math.isnan(value) and LEAK_GAP.name in state:
        if state[LEAK_GAP.name].value < 0:
            return state[LUMEN_PRESSURE.name].value, f"{where}, where the lumen is still shut", True
        where += ": the lumen was not shut before"
    return value, where, False
