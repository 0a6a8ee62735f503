# SPDX-License-Identifier: MIT
"""Ending a run at the end of a stage whose requirement it misses."""

from collections.abc import Callable

from annelid.cases.convert.display import display_units_of
from annelid.cases.schema.case import Case
from annelid.cases.schema.units import parse
from annelid.solver.model.quantities import quantity_of
from annelid.solver.records import Equilibrium, Outcome

__all__ = ["StoppedEarly", "stop_at_missed_stages"]


class StoppedEarly(Exception):
    """A run ends before its last stage because it misses a requirement.

    Attributes:
        outcome: How it ended.
    """

    def __init__(self, outcome: Outcome) -> None:
        super().__init__(outcome.text)
        self.outcome = outcome


def stop_at_missed_stages(case: Case) -> Callable[[Equilibrium], None]:
    """Return an observer that raises :class:`StoppedEarly` at the end of a stage that misses a requirement.

    Requirements on the last stage cannot end a run early, and stability margins are known only at the end of
    the run.
    """
    last = case.stages[-1].name
    units = display_units_of(case)
    requirements = [r for r in case.requirements if r.stage is not None and r.stage != last]

    def check(state: Equilibrium) -> None:
        for requirement in requirements:
            name = requirement.quantity
            if requirement.stage != state.stage or state.parameter < 1.0 or name not in state.quantities:
                continue
            value, quantity = state.quantities[name].value, quantity_of(name)
            for limit, is_floor in ((requirement.at_least, True), (requirement.at_most, False)):
                bound = None if limit is None else parse(limit, quantity.unit)
                if bound is not None and not (value >= bound if is_floor else value <= bound):
                    required = f"{'at least' if is_floor else 'at most'} {units.show(quantity.kind, bound)}"
                    text = (
                        f"stopped early: {name} is {units.show(quantity.kind, value)} at the end of stage "
                        f"'{state.stage}', but {required} is required"
                    )
                    raise StoppedEarly(Outcome("stopped early", text, state.stage, state.parameter))

    return check
