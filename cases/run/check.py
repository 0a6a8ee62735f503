# SPDX-License-Identifier: MIT
"""Checking the mesh, the model and the cost of a case without running it."""

from typing import NamedTuple

from annelid.cases.convert.body import meshed_part_of
from annelid.cases.convert.cost import Cost, cost_of
from annelid.cases.convert.model import model_of
from annelid.cases.convert.path import stages_of
from annelid.cases.run.environment import require_libraries
from annelid.cases.run.memory import check_memory
from annelid.cases.schema.case import Case
from annelid.cases.validate.reported import known_quantities
from annelid.geometry.body import Body

__all__ = ["CheckedCase", "check_case"]


class CheckedCase(NamedTuple):
    """A case that can be run.

    Attributes:
        body: The mesh.
        cost: Size and expected cost.
        quantities: Names of the quantities that a run reports.
    """

    body: Body
    cost: Cost
    quantities: tuple[str, ...]


def check_case(case: Case) -> CheckedCase:
    """Mesh a resolved case and check that it can be run.

    Raises:
        InputError: The case cannot be meshed, or a support or a load does not suit the mesh, or it
            does not fit into the memory of this machine.
    """
    from annelid.solver.constraints.stage_checks import check_stages

    require_libraries()
    part = meshed_part_of(case)
    check_stages(model_of(case, *part), stages_of(case))
    cost = cost_of(case, part.body)
    check_memory(cost)
    return CheckedCase(part.body, cost, tuple(known_quantities(case)))
