# SPDX-License-Identifier: MIT
"""Ending a run with a stage whose requirement it misses: it cannot be good any more."""

from collections.abc import Callable

from annelid.cases.schema.case import Case
from annelid.cases.schema.units import parse
from annelid.results.display_units import show
from annelid.solver.model.quantities import definition_of
from annelid.solver.records import Equilibrium, Outcome

__all__ = ["StoppedEarly", "stop_at_missed_stages"]


class StoppedEarly(Exception):
    """A run is ended on purpose.

    Attributes:
        outcome: How it ended.
    """

    def __init__(self, outcome: Outcome) -> None:
        super().__init__(outcome.text)
        self.outcome = outcome


def stop_at_missed_stages(case: Case) -> Callable[[Equilibrium], None]:
    """Look at each state; raises :class:`StoppedEarly` at the end of a stage whose requirement it misses.

    Requirements on the last stage end nothing early, and margins of stability are found only in the end.
    """
    last = case.stages[-1].name
    wanted = [r for r in case.requirements if r.stage is not None and r.stage != last]

    def look(state: Equilibrium) -> None:
        for requirement in wanted:
            name = requirement.quantity
            if requirement.stage != state.stage or state.parameter < 1.0 or name not in state.quantities:
                continue
            value, unit = state.quantities[name].value, definition_of(name).unit
            for limit, is_floor in ((requirement.at_least, True), (requirement.at_most, False)):
                bound = None if limit is None else parse(limit, unit)
                if bound is not None and not (value >= bound if is_floor else value <= bound):
                    words = f"{'at least' if is_floor else 'at most'} {show(name, bound, unit)}"
                    text = (
                        f"stopped early: {name} is {show(name, value, unit)} at the end of stage "
                        f"'{state.stage}', where {words} is required"
                    )
                    raise StoppedEarly(Outcome("stopped early", text, state.stage, state.parameter))

    return look
