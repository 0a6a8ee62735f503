# SPDX-License-Identifier: MIT
"""Names of the quantities that a run of a case reports."""

from annelid.cases.convert.model import scope_of
from annelid.cases.convert.path import NO_SEARCH, loads_with_margin
from annelid.cases.convert.waves import cycles_of
from annelid.cases.schema.case import Case
from annelid.solver.model.cycle_quantities import CYCLE_QUANTITIES
from annelid.solver.model.loads import TOGETHER
from annelid.solver.model.quantities import QUANTITIES, STABILITY_MARGIN_OF, cycle_names_for, names_for

__all__ = [
    "REPORTING_TABLES",
    "known_quantities",
    "margins_are_searched",
    "margins_of",
    "path_quantities_of",
    "reported",
]

REPORTING_TABLES = (
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
"""Tables that determine which quantities a run reports."""


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
    margins = margins_of(case) if margins_are_searched(case) else []
    return reported(case) + margins + path_quantities_of(case)


def margins_are_searched(case: Case) -> bool:
    """Whether margins are searched in every run of the case: the default differs between runs and studies."""
    return case.path.seek_limit not in (None, NO_SEARCH)
