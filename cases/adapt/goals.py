# SPDX-License-Identifier: MIT
"""Which quantities the mesh of a case is chosen for, and at which states of its path."""

from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import NamedTuple

from annelid.cases.schema.case import Case
from annelid.cases.schema.stage import RequirementTable, StageTable
from annelid.cases.schema.units import parse
from annelid.solver.model.quantities import (
    LEAK_GAP,
    LEAK_PRESSURE,
    LUMEN_PRESSURE,
    STABILITY_MARGIN_OF,
    UNSTABLE_MODES,
    UNSTABLE_MODES_CONTROLLED,
    quantity_of,
)

__all__ = ["Goal", "goals_of"]

LIMIT_LOAD = "load at the limit point"
"""Name of the position of a limit point that ends a path, over the loads of its stage."""
HEADLINES = ("mean radial expansion", "axial shortening", "volume change", "charge")
"""Quantities for which the mesh is chosen without requirements, and the radial expansions at sections."""

_COUNTS = (UNSTABLE_MODES.name, UNSTABLE_MODES_CONTROLLED.name)
_SMALL = 0.01  # of a limit: what is smaller need not be known better
_LEAST = 1e-3  # of a dimensionless quantity: smaller values need no better absolute accuracy than this one


class Goal(NamedTuple):
    """A quantity whose error is to be small.

    Attributes:
        quantity: Its name.
        stage: Stage at whose end it counts.
        required: Largest absolute limit required of it, 0 without one.
    """

    quantity: str
    stage: str
    required: float = 0.0

    def scale(self, value: float) -> float:
        """The size to which the accuracy refers."""
        return max(abs(value), _SMALL * self.required, _LEAST if self.unit == "1" else 0.0)

    @property
    def is_margin(self) -> bool:
        """Whether it is a stability margin."""
        return self.quantity.startswith(STABILITY_MARGIN_OF.stem)

    @property
    def unit(self) -> str:
        """Internal unit of the quantity."""
        return "1" if self.quantity == LIMIT_LOAD else quantity_of(self.quantity).unit


def goals_of(case: Case, known: Sequence[str]) -> tuple[list[Goal], list[str]]:
    """Return the goals of a resolved case, and sentences on requirements for which no mesh can be chosen.

    Args:
        case: The case.
        known: Names of the quantities that its states report.
    """
    last = case.stages[-1].name
    notes: list[str] = []
    found: dict[tuple[str, str], Goal] = {}
    for requirement in case.requirements:
        goal = _goal(requirement, requirement.stage or last, case.stages, known, notes.append)
        if goal is not None:
            before = found.get(goal[:2])
            found[goal[:2]] = goal if before is None or before.required < goal.required else before
    if not found:
        for name in [*HEADLINES, *(f"radial expansion {section.name}" for section in case.sections)]:
            if name in known:
                found[name, last] = Goal(name, last)
    if not any(goal.is_margin for goal in found.values()):
        notes.append("the mesh is not chosen for the loads at which the part loses stability")
    return list(found.values()), list(dict.fromkeys(notes))


def _goal(
    requirement: RequirementTable,
    stage: str,
    stages: Sequence[StageTable],
    known: Sequence[str],
    note: Callable[[str], None],
) -> Goal | None:
    name = requirement.quantity
    if name in _COUNTS:
        return None  # a number of modes has no error
    quantity = quantity_of(name)
    if (
        quantity == LEAK_PRESSURE
    ):  # where the stage ends there it is the pressure; else it belongs to the path
        ends = [s for s in stages if s.name == stage and any(u.quantity == LEAK_GAP.name for u in s.until)]
        quantity = LUMEN_PRESSURE if ends else replace(quantity, of_path=True)
        name = quantity.name
    limits = [parse(x, quantity.unit) for x in (requirement.at_least, requirement.at_most) if x is not None]
    required = max(map(abs, limits))
    if quantity.of_path:
        note(f"{name} belongs to the whole path, and the mesh is not chosen for it")
        return None
    if quantity.beside is not None:
        if quantity.beside not in known:
            note(f"{name} is a value at a point, which may have no limit, and the mesh is not chosen for it")
            return None
        note(
            f"{name} is a value at a point, which may have no limit: the mesh is chosen for {quantity.beside}"
        )
        name, required = quantity.beside, 0.0
    return Goal(name, stage, required)
