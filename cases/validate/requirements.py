# SPDX-License-Identifier: MIT
"""Limits on reported quantities: requirements, evaluated at the end of a run, and ends of stages."""

import math
from collections.abc import Collection, Iterator, Mapping, Sequence

from annelid.cases.convert.limits import missing_limits
from annelid.cases.convert.model import scope_of
from annelid.cases.convert.path import NO_SEARCH, ends_of, loads_with_margin
from annelid.cases.convert.waves import cycles_of
from annelid.cases.schema.case import Case
from annelid.cases.schema.stage import EndTable, LimitTable, RequirementTable
from annelid.cases.schema.units import UnitError, note_unit, parse, show
from annelid.cases.validate.findings import Findings
from annelid.cases.validate.messages import RENAMED_QUANTITIES, not_one_of
from annelid.geometry.errors import InvalidValue
from annelid.results.folder.run_records import Verdict
from annelid.solver.model.cycle_quantities import CYCLE_DIFFERENCE, STROKE_VOLUME
from annelid.solver.model.loads import TOGETHER
from annelid.solver.model.quantities import (
    CYCLE_QUANTITIES,
    LARGEST_TRUE_FIELD,
    LEAK_GAP,
    LEAK_PRESSURE,
    LUMEN_PRESSURE,
    MARGINS,
    QUANTITIES,
    STABILITY_MARGIN_OF,
    cycle_names_for,
    names_for,
    quantity_of,
)
from annelid.solver.model.stage_ends import check_end_quantity
from annelid.solver.records import Margin, Measure

__all__ = [
    "check_requirements",
    "known_quantities",
    "margins_of",
    "reported",
    "resolved_requirements",
    "verdicts",
]

# Tables that determine which quantities a run reports.
_REPORTING_TABLES = (
    "shape",
    "mesh",
    "lattice",
    "materials",
    "parts",
    "electrodes",
    "supports",
    "contacts",
    "sections",
    "stages",
    "making",
    "circuit",
    "fluid",
    "feeds",
)

# What quantities of a cycle need, in words.
_FEATURES = {
    "channel": "a fluid along the lumen",
    "circuit": "a circuit",
    "electrodes": "electrodes",
    "feeds": "electrodes that are fed through a resistance",
    "flow": "a stage with control = 'flow'",
    "lumen_flow": "a fluid or a circuit in the lumen",
}

Quantities = Mapping[str, Measure]
_BOUNDS = ("at_least", "at_most")


def reported(case: Case) -> list[str]:
    """Return the names of the quantities that a run of the case reports for every state."""
    return names_for(scope_of(case))


def margins_of(case: Case) -> list[str]:
    """Return the names of the stability margins of the loads that the case changes."""
    loads = loads_with_margin(case)
    if len(loads) > 1:
        loads.append(TOGETHER)
    return [STABILITY_MARGIN_OF.of(load) for load in loads]


def path_quantities_of(case: Case) -> list[str]:
    """Return the names of the quantities of the whole path: of a cycle, and of snaps that it goes beyond."""
    cycles = cycle_names_for(scope_of(case)) if any(w.cycles for w in cycles_of(case)) else []
    return cycles + _quantities_of_snaps(case)


def _quantities_of_snaps(case: Case) -> list[str]:
    controlled = any(stage.control != "load" for stage in case.stages)
    if case.path.beyond_instability == "stop" and not controlled:
        return []
    changed = {name.removeprefix(STABILITY_MARGIN_OF.stem) for name in margins_of(case)}
    changed |= {"pressure"} if "surface pressure" in changed else set()
    loads = [words for words in ("pressure", "force", "voltage") if words in changed]
    if not loads:
        return []
    return [
        quantity.name
        for quantity in QUANTITIES
        if quantity.of_path
        and quantity not in CYCLE_QUANTITIES
        and (quantity.name.split()[-1] in loads or quantity.kind in ("count", "energy"))
    ]


def known_quantities(case: Case) -> list[str]:
    """Return the names of all quantities of a run, including the stability margins if they are requested."""
    margins = margins_of(case) if _asks_for_margins(case) else []
    return reported(case) + margins + path_quantities_of(case)


def _asks_for_margins(case: Case) -> bool:
    """Whether margins are searched in every run of the case: the default differs between runs and studies."""
    return case.path.seek_limit not in (None, NO_SEARCH)


def check_requirements(case: Case, findings: Findings) -> None:
    """Add an error for each requirement that cannot be evaluated, and for each stage that cannot end so."""
    known = (
        reported(case) + margins_of(case) + path_quantities_of(case)
        if findings.complete(*_REPORTING_TABLES)
        else None
    )
    for index, requirement in enumerate(case.requirements):
        for key, text in _errors(case, requirement, known):
            findings.add(("requirements", index), InvalidValue(text, key=key))
    for index in range(len(case.stages)):
        _check_ends(case, index, known, findings)


def _check_ends(case: Case, index: int, known: Collection[str] | None, findings: Findings) -> None:
    """Add an error for each limit at which a stage cannot end."""
    stage = case.stages[index]
    if stage.until_tolerance is not None and not stage.until:
        findings.add(("stages", index), InvalidValue("needs until, the limits", key="until_tolerance"))
    errors = {number: list(_end_errors(case, end, known)) for number, end in enumerate(stage.until)}
    for number, found in errors.items():
        for key, text in found:
            findings.add(("stages", index, "until", number), InvalidValue(text, key=key))
    if not any(errors.values()):
        with findings.catching("stages", index):
            ends_of(stage)


def resolved_requirements(case: Case) -> Case:
    """Return the case with all limits in internal units."""
    stages = [
        stage.model_copy(update={"until": tuple(map(_resolved_limits, stage.until))}) for stage in case.stages
    ]
    requirements = tuple(map(_resolved_limits, case.requirements))
    return case.model_copy(update={"requirements": requirements, "stages": tuple(stages)})


def _resolved_limits[T: LimitTable](table: T) -> T:
    unit = quantity_of(table.quantity).unit
    given = {key: getattr(table, key) for key in _BOUNDS}
    limits = {key: show(parse(limit, unit), unit) for key, limit in given.items() if limit is not None}
    return table.model_copy(update=limits)


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
        for key in _BOUNDS:
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


def _errors(
    case: Case, requirement: RequirementTable, known: Collection[str] | None
) -> Iterator[tuple[str, str]]:
    stages = [stage.name for stage in case.stages]
    if requirement.stage is not None and requirement.stage not in stages:
        yield "stage", not_one_of(requirement.stage, stages, what="a stage")
    errors = list(_limit_errors(case, requirement, known))
    if not _has_unknown_quantity(errors) and quantity_of(requirement.quantity) is STABILITY_MARGIN_OF:
        yield from _margin_errors(case, requirement)
    if not _has_unknown_quantity(errors) and quantity_of(requirement.quantity).of_path and requirement.stage:
        yield "stage", "the quantity belongs to the whole path: remove stage"
    yield from errors


def _end_errors(case: Case, end: EndTable, known: Collection[str] | None) -> Iterator[tuple[str, str]]:
    errors = list(_limit_errors(case, end, known))
    if not _has_unknown_quantity(errors):
        try:
            check_end_quantity(end.quantity)
        except InvalidValue as error:
            yield error.key, error.problem
    yield from errors


def _has_unknown_quantity(errors: Collection[tuple[str, str]]) -> bool:
    return any(key == "quantity" for key, _ in errors)


def _limit_errors(case: Case, table: LimitTable, known: Collection[str] | None) -> Iterator[tuple[str, str]]:
    name = table.quantity
    try:
        quantity = quantity_of(name)
    except KeyError:
        quantity = None
    if name in RENAMED_QUANTITIES:
        yield "quantity", f"'{name}' has been renamed: write '{RENAMED_QUANTITIES[name]}'"
        return
    if known is not None and name in MARGINS.difference(known):
        missing = missing_limits(case).get(name.removeprefix("least ").removesuffix(" margin"))
        if missing is not None:
            yield "quantity", f"'{name}' is not reported: {missing}"
            return
    if known is not None and quantity in (LEAK_GAP, LEAK_PRESSURE) and name not in known:
        text = "it needs a lumen that is open at both ends, and [[contacts]] with surface = 'lumen'"
        yield "quantity", f"'{name}' is not reported: {text}"
        return
    if quantity in CYCLE_QUANTITIES and known is not None and name not in known:
        yield "quantity", _missing_cycle(case, name, known)
        return
    if quantity is not None and quantity.of_path and known is not None and name not in known:
        yield (
            "quantity",
            f"'{name}' needs a pressure, voltage or axial force, and a path that goes on where the part "
            'snaps: a stage with a control, or path.beyond_instability = "jump" or "follow"',
        )
        return
    if quantity is None or (known is not None and name not in known):
        yield "quantity", not_one_of(name, list(known or ()), what="a quantity that this case reports")
        return
    limits = {key: getattr(table, key) for key in _BOUNDS}
    if all(limit is None for limit in limits.values()):
        yield "", "has no limit: give at_least or at_most"
    for key, limit in limits.items():
        if limit is None:
            continue
        try:
            parse(limit, quantity.unit)
            note_unit(limit, quantity.kind, in_limit=True)
        except UnitError as error:
            example = "'12 %' or 0.12" if quantity.unit == "1" else f"'0.5 {quantity.unit}'"
            yield key, f"{error}; write a limit such as {example}"


def _missing_cycle(case: Case, name: str, known: Collection[str]) -> str:
    """Why a case has no such quantity of a cycle."""
    if not any(window.cycles for window in cycles_of(case)):
        return f"'{name}' needs a stage whose waves repeat for a whole cycle"
    scope = scope_of(case)
    missing = [_FEATURES[feature] for feature in quantity_of(name).needs if not scope.has(feature)]
    if missing:
        return f"'{name}' needs {' and '.join(missing)}"
    return not_one_of(name, list(known), what="a quantity that this case reports")


def _margin_errors(case: Case, requirement: RequirementTable) -> Iterator[tuple[str, str]]:
    """Check that a margin is required only at the last state, and within the limit of the search."""
    furthest = case.path.seek_limit
    if furthest is None or not _asks_for_margins(case):
        yield (
            "quantity",
            "needs path.seek_limit above 1, the multiple of the loads up to which they are searched",
        )
    elif requirement.at_least is not None:
        try:
            beyond = parse(requirement.at_least, "1") > furthest
        except UnitError:
            return  # reported with the limit
        if beyond:
            yield (
                "at_least",
                f"is above path.seek_limit = {furthest:g}: increase path.seek_limit to at least this value",
            )
    if requirement.stage not in (None, *(stage.name for stage in case.stages[-1:])):
        yield "stage", "margins are searched from the last state under load: remove stage"
