# SPDX-License-Identifier: MIT
"""The table of the reported quantities: what each is, its unit, and where it applies.

The modules beside this one define them by subject; all are also names of this module.
"""

from annelid.solver.model import (
    cycle_quantities,
    flow_quantities,
    limit_quantities,
    shape_quantities,
    stability_quantities,
    stress_quantities,
)
from annelid.solver.model.limit_quantities import *  # noqa: F403
from annelid.solver.model.quantity import Quantity, Scope
from annelid.solver.model.shape_quantities import *  # noqa: F403
from annelid.solver.model.stability_quantities import *  # noqa: F403
from annelid.solver.model.stress_quantities import *  # noqa: F403

_SUBJECTS = (shape_quantities, stress_quantities, limit_quantities, stability_quantities)
QUANTITIES: tuple[Quantity, ...] = (
    *(value for subject in _SUBJECTS for value in vars(subject).values() if isinstance(value, Quantity)),
    *flow_quantities.FLOW_QUANTITIES,
    *cycle_quantities.CYCLE_QUANTITIES,
)
"""All of them, in the order of tables."""

_SINGLE = {quantity.name: quantity for quantity in QUANTITIES if not quantity.placeholder}
_FAMILIES = [quantity for quantity in QUANTITIES if quantity.placeholder]


def quantity_of(name: str) -> Quantity:
    """The quantity of a reported name, also of one that carries a section, support or electrode.

    Raises:
        KeyError: No such quantity.
    """
    if name in _SINGLE:  # a whole name before a family whose stem it has
        return _SINGLE[name]
    for quantity in _FAMILIES:
        if quantity.matches(name):
            return quantity
    raise KeyError(name)


def names_for(scope: Scope) -> list[str]:
    """Names of all quantities that a model of this scope reports for each state, in table order."""
    return [name for quantity in QUANTITIES for name in quantity.names(scope)]


def cycle_names_for(scope: Scope) -> list[str]:
    """Names of the quantities of a cycle that a model of this scope may have."""
    return [name for quantity in cycle_quantities.CYCLE_QUANTITIES for name in quantity.in_scope(scope)]
