# SPDX-License-Identifier: MIT
"""Whether a part turns about its axis."""

from annelid.cases.convert.shape import entries_of
from annelid.cases.schema.case import Case
from annelid.solver.model.parts import Fibres

__all__ = ["has_twist"]


def has_twist(case: Case) -> bool:
    """Return whether loads or the fibres of a part turn it about its axis."""
    fibres = [Fibres(**entries_of(part.fibres)) for part in case.parts if part.fibres]
    turned = (
        stage.torque or stage.twist or {w.load for w in stage.waves} & {"torque", "twist"}
        for stage in case.stages
    )
    return any(turned) or any(f.twist for f in fibres)
