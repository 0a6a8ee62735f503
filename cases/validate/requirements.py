# SPDX-License-Identifier: MIT
"""Requirements: limits on reported quantities, checked at the door and judged at the end."""

import math
from collections.abc import Iterator, Mapping, Sequence
from types import SimpleNamespace
from typing import TYPE_CHECKING, Any, cast

from annelid.cases.schema.case import Case
from annelid.cases.schema.stage import Requirement
from annelid.cases.schema.units import UnitError, parse, show
from annelid.cases.validate.extents import has_lumen
from annelid.cases.validate.messages import one_of, path_of
from annelid.results.folder.records import Verdict
from annelid.solver.model.quantities import definition_of, names_for
from annelid.solver.records import Margin, Measure

if TYPE_CHECKING:
    from annelid.solver.model.model import Model

__all__ = [
    "known_quantities",
    "margins_of",
    "reported",
    "requirement_problems",
    "resolved_requirements",
    "verdicts",
]

Quantities = Mapping[str, Measure]
_BOUNDS = ("at_least", "at_most")


def reported(case: Case) -> dict[str, str]:
    """Unit of every quantity that a run of the case reports."""
    strong = {name for name, material in case.materials.items() if material.breakdown_field is not None}
    layers = {layer.name for layer in case.shape.layers}
    # The solver tells the names from its model; all that it looks at is known before anything is meshed.
    model = SimpleNamespace(
        sections=case.sections,
        supports=case.supports,
        electrodes=case.electrodes,
        contacts=case.contacts,
        has_lumen=has_lumen(case.shape),
        bare_stroke=case.making if case.making is not None and case.making.compare else None,
        parts=[
            SimpleNamespace(
                region=part.region,
                material=SimpleNamespace(breakdown=True if part.material in strong else None),
                sheets=True if part.region in layers else None,
            )
            for part in case.parts
        ],
    )
    return {name: definition_of(name).unit for name in names_for(cast("Model", model))}


def margins_of(case: Case) -> dict[str, str]:
    """Unit of the stability margin of every load that the case drives."""
    drives = {
        "pressure": any(stage.pressure is not None or stage.volume is not None for stage in case.stages),
        "voltage": any(stage.voltage or stage.charge for stage in case.stages),
        "force": any(stage.force for stage in case.stages),
        "move": any(stage.move for stage in case.stages),
    }
    loads = [load for load, driven in drives.items() if driven]
    if len(loads) > 1:
        loads.append("all loads")
    return {margin.quantity: "1" for margin in (Margin(load, math.nan) for load in loads)}


def known_quantities(case: Case) -> dict[str, str]:
    """Unit of all that a run of the case tells: of every state, and the margins that it seeks at its end."""
    return reported(case) | (margins_of(case) if case.path.seek_limit is not None else {})


def requirement_problems(case: Case, raw: dict[str, Any]) -> list[str]:
    """One sentence for each requirement that cannot be judged."""
    known = reported(case) | margins_of(case)
    return [
        f"{path_of(raw, 'requirements', index, *keys)}: {text}"
        for index, requirement in enumerate(case.requirements)
        for keys, text in _problems(case, requirement, known)
    ]


def resolved_requirements(case: Case) -> Case:
    """The same case with all limits in the units inside."""
    known = reported(case) | margins_of(case)
    requirements = []
    for requirement in case.requirements:
        unit = known[requirement.quantity]
        given = {key: getattr(requirement, key) for key in _BOUNDS}
        limits = {key: show(parse(limit, unit), unit) for key, limit in given.items() if limit is not None}
        requirements.append(requirement.model_copy(update=limits))
    return case.model_copy(update={"requirements": tuple(requirements)})


def verdicts(
    case: Case, last: Quantities, ends: Mapping[str, Quantities], margins: Sequence[Margin] = ()
) -> tuple[Verdict, ...]:
    """Judge the requirements of a resolved case.

    Args:
        case: The case.
        last: Quantities of the last state.
        ends: Quantities at the end of every stage that was completed, by stage.
        margins: Stability margins of the path.
    """
    known = reported(case) | margins_of(case)
    found = []
    for requirement in case.requirements:
        name, stage = requirement.quantity, requirement.stage
        margin = next((m for m in margins if m.quantity == name), None)
        if name in margins_of(case):
            value, where = (margin.value, _ahead(margin)) if margin else (math.nan, "no such load acts")
        else:
            value, where = _value(name, stage, last, ends)
        is_bound = margin is not None and margin.is_bound
        for key in _BOUNDS:
            limit = getattr(requirement, key)
            if limit is not None:
                bound = parse(limit, known[name])
                met = value >= bound if key == "at_least" else value <= bound and not is_bound
                words = key.replace("_", " ")
                found.append(Verdict(name, words, bound, value, known[name], met, where, is_bound))
    return tuple(found)


def _ahead(margin: Margin) -> str:
    """Where a margin points to, in words."""
    if math.isnan(margin.value):
        return margin.text
    if margin.is_bound:
        return "no critical point up to there"
    return f"{margin.kind} {'short of the load asked for' if margin.value < 1 else 'ahead of the last state'}"


def _value(
    name: str, stage: str | None, last: Quantities, ends: Mapping[str, Quantities]
) -> tuple[float, str]:
    """Value of a quantity where a requirement wants it, and that place in words."""
    state = last if stage is None else ends.get(stage, {})
    value = state[name].value if name in state else math.nan
    if stage is None:
        return value, "at the last state"
    return value, f"at the end of stage '{stage}'" if stage in ends else f"stage '{stage}' was not completed"


def _problems(
    case: Case, requirement: Requirement, known: Mapping[str, str]
) -> Iterator[tuple[tuple[str, ...], str]]:
    stages = [stage.name or f"stage {number}" for number, stage in enumerate(case.stages, start=1)]
    if requirement.stage is not None and requirement.stage not in stages:
        yield ("stage",), one_of(requirement.stage, stages, what="a stage")
    if requirement.quantity not in known:
        yield ("quantity",), one_of(requirement.quantity, list(known), what="reported by this case")
        return
    unit = known[requirement.quantity]
    limits = {key: getattr(requirement, key) for key in _BOUNDS}
    if requirement.quantity in margins_of(case):
        yield from _margin_problems(case, requirement)
    if all(limit is None for limit in limits.values()):
        yield (), "has no limit; give at_least or at_most"
    for key, limit in limits.items():
        if limit is not None:
            try:
                parse(limit, unit)
            except UnitError as error:
                example = '"12 %" or 0.12' if unit == "1" else f'"0.5 {unit}"'
                yield (key,), f"{error}; write a limit such as {example}"


def _margin_problems(case: Case, requirement: Requirement) -> Iterator[tuple[tuple[str, ...], str]]:
    """A margin is sought once, from the last state on, and as far as the case says."""
    furthest = case.path.seek_limit
    if furthest is None:
        yield ("quantity",), "needs path.seek_limit, the multiple of the loads up to which to look"
    elif requirement.at_least is not None:
        try:
            beyond = parse(requirement.at_least, "1") > furthest
        except UnitError:
            return  # said elsewhere
        if beyond:
            yield ("at_least",), f"lies beyond path.seek_limit = {furthest:g}; look as far as that at least"
    if requirement.stage not in (None, case.stages[-1].name):
        yield ("stage",), "margins are sought from the last state on; leave it out"
