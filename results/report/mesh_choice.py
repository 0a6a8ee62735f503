# SPDX-License-Identifier: MIT
"""The part of a report about a mesh that was chosen for an accuracy."""

from typing import Any

from annelid.results.figures.mesh_figure import mesh_figure
from annelid.results.folder.run_record import RunRecord
from annelid.results.verification.adaptation import AdaptedQuantity, adaptation_of
from annelid.results.verification.shown import shown_bar
from annelid.solver.display import DisplayUnits, digits
from annelid.solver.model.quantities import quantity_of

__all__ = ["mesh_choice"]


def mesh_choice(run: RunRecord) -> dict[str, Any]:
    """Return how the mesh of a run was chosen, for its page; empty if its sizes were given."""
    chosen = adaptation_of(run.summary)
    if chosen is None:
        return {}
    return {
        "text": chosen.text,
        "notes": chosen.notes,
        "passes": [
            {
                "mesh": f"{p.rows} x {p.columns}",
                "unknowns": p.unknowns,
                "share": f"{digits(100 * p.share, 2)} %",
                "quantity": p.quantity or "no error could be estimated",
            }
            for p in chosen.passes
        ],
        "quantities": [
            {
                "quantity": q.quantity,
                "stage": q.stage,
                "value": _shown(q, run.units),
                "share": f"{digits(100 * q.share, 2)} %",
            }
            for q in chosen.quantities
        ],
        "figure": [mesh_figure(chosen.edges_along, chosen.lines, run.units, name="mesh")],
    }


def _shown(q: AdaptedQuantity, units: DisplayUnits) -> str:
    try:
        kind = quantity_of(q.quantity).kind
    except KeyError:  # the load at a limit point
        kind = "ratio"
    return shown_bar(kind, q.value, q.bar, units)
