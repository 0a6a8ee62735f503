# SPDX-License-Identifier: MIT
"""Requirements: limits on reported quantities, checked at the door and judged at the end."""

import math
from collections.abc import Iterator, Mapping
from types import SimpleNamespace
from typing import TYPE_CHECKING, Any, cast

from cases.complaints import one_of, path_of
from cases.extents import has_lumen
from cases.schema import Case
from cases.schema_stage import Requirement
from cases.units import UnitError, parse, show
from results.records import Verdict
from solver.definitions import definition_of, names_for
from solver.records import Measure

if TYPE_CHECKING:
    from solver.model import Model

__all__ = ["reported", "requirement_problems", "resolved_requirements", "verdicts"]

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
        parts=[
            SimpleNamespace(
                material=SimpleNamespace(breakdown=True if part.material in strong else None),
                sheets=True if part.region in layers else None,
            )
            for part in case.parts
        ],
    )
    return {name: definition_of(name).unit for name in names_for(cast("Model", model))}


def requirement_problems(case: Case, raw: dict[str, Any]) -> list[str]:
    """One sentence for each requirement that cannot be judged."""
    known = reported(case)
    return [
        f"{path_of(raw, 'requirements', index, *keys)}: {text}"
        for index, requirement in enumerate(case.requirements)
        for keys, text in _problems(case, requirement, known)
    ]


def resolved_requirements(case: Case) -> Case:
    """The same case with all limits in the units inside."""
    known = reported(case)
    requirements = []
    for requirement in case.requirements:
        unit = known[requirement.quantity]
        given = {key: getattr(requirement, key) for key in _BOUNDS}
        limits = {key: show(parse(limit, unit), unit) for key, limit in given.items() if limit is not None}
        requirements.append(requirement.model_copy(update=limits))
    return case.model_copy(update={"requirements": tuple(requirements)})


def verdicts(case: Case, last: Quantities, ends: Mapping[str, Quantities]) -> tuple[Verdict, ...]:
    """Judge the requirements of a resolved case.

    Args:
        case: The case.
        last: Quantities of the last state.
        ends: Quantities at the end of every stage that was completed, by stage.
    """
    known = reported(case)
    found = []
    for requirement in case.requirements:
        name, stage = requirement.quantity, requirement.stage
        state = last if stage is None else ends.get(stage, {})
        value = state[name].value if name in state else math.nan
        where = "at the last state" if stage is None else f"at the end of stage '{stage}'"
        if stage is not None and stage not in ends:
            where = f"stage '{stage}' was not completed"
        for key in _BOUNDS:
            limit = getattr(requirement, key)
            if limit is not None:
                bound = parse(limit, known[name])
                met = value >= bound if key == "at_least" else value <= bound
                found.append(Verdict(name, key.replace("_", " "), bound, value, known[name], met, where))
    return tuple(found)


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
    if all(limit is None for limit in limits.values()):
        yield (), "has no limit; give at_least or at_most"
    for key, limit in limits.items():
        if limit is not None:
            try:
                parse(limit, unit)
            except UnitError as error:
                example = '"12 %" or 0.12' if unit == "1" else f'"0.5 {unit}"'
                yield (key,), f"{error}; write a limit such as {example}"
