# SPDX-License-Identifier: MIT
"""Checks of limits on reported quantities: of requirements, and of the ends of stages."""

from collections.abc import Collection, Iterator

from annelid.cases.convert.limits import missing_limits
from annelid.cases.convert.model import scope_of
from annelid.cases.convert.path import ends_of
from annelid.cases.convert.waves import cycles_of
from annelid.cases.schema.case import Case
from annelid.cases.schema.stage import BOUNDS, EndTable, LimitTable, RequirementTable
from annelid.cases.schema.units import UnitError, note_unit, parse, show
from annelid.cases.validate.findings import Findings
from annelid.cases.validate.messages import RENAMED_QUANTITIES, not_one_of
from annelid.cases.validate.reported import (
    REPORTING_TABLES,
    margins_are_searched,
    margins_of,
    path_quantities_of,
    reported,
)
from annelid.geometry.errors import InvalidValue
from annelid.solver.model.cycle_quantities import CYCLE_QUANTITIES
from annelid.solver.model.quantities import (
    LEAK_GAP,
    LEAK_PRESSURE,
    MARGINS,
    STABILITY_MARGIN_OF,
    quantity_of,
)
from annelid.solver.model.quantity import Quantity
from annelid.solver.model.stage_ends import check_end_quantity

__all__ = ["check_requirements", "resolved_requirements"]

# What quantities of a cycle need, in words.
_FEATURES = {
    "channel": "a fluid along the lumen",
    "circuit": "a circuit",
    "electrodes": "electrodes",
    "feeds": "electrodes that are fed through a resistance",
    "flow": "a stage with control = 'flow'",
    "lumen_flow": "a fluid or a circuit in the lumen",
}


def check_requirements(case: Case, findings: Findings) -> None:
    """Add an error for each requirement that cannot be evaluated, and for each stage that cannot end so."""
    known = (
        reported(case) + margins_of(case) + path_quantities_of(case)
        if findings.complete(*REPORTING_TABLES)
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
    given = {key: getattr(table, key) for key in BOUNDS}
    limits = {key: show(parse(limit, unit), unit) for key, limit in given.items() if limit is not None}
    return table.model_copy(update=limits)


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
    quantity = _quantity_of(name)
    if problem := _quantity_error(case, name, quantity, known):
        yield "quantity", problem
        return
    assert quantity is not None
    limits = {key: getattr(table, key) for key in BOUNDS}
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


def _quantity_of(name: str) -> Quantity | None:
    try:
        return quantity_of(name)
    except KeyError:
        return None


def _quantity_error(case: Case, name: str, quantity: Quantity | None, known: Collection[str] | None) -> str:
    """Why a quantity cannot have a limit; "" if it can."""
    if name in RENAMED_QUANTITIES:
        return f"'{name}' has been renamed: write '{RENAMED_QUANTITIES[name]}'"
    if known is None or name in known:
        return "" if quantity is not None else _not_reported(name, known)
    if name in MARGINS:
        missing = missing_limits(case).get(name.removeprefix("least ").removesuffix(" margin"))
        if missing is not None:
            return f"'{name}' is not reported: {missing}"
    if quantity in (LEAK_GAP, LEAK_PRESSURE):
        text = "it needs a lumen that is open at both ends, and [[contacts]] with surface = 'lumen'"
        return f"'{name}' is not reported: {text}"
    if quantity in CYCLE_QUANTITIES:
        return _missing_cycle(case, name, known)
    if quantity is not None and quantity.of_path:
        return (
            f"'{name}' needs a pressure, voltage or axial force, and a path that goes on where the part "
            'snaps: a stage with a control, or path.beyond_instability = "jump" or "follow"'
        )
    return _not_reported(name, known)


def _not_reported(name: str, known: Collection[str] | None) -> str:
    return not_one_of(name, list(known or ()), what="a quantity that this case reports")


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
    if furthest is None or not margins_are_searched(case):
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
