# SPDX-License-Identifier: MIT
"""Facts on a run as groups of pairs and small tables: mesh, solution, cost, every state."""

from collections.abc import Mapping
from typing import Any

import numpy as np

from annelid.results.folder.tables import PathTable
from annelid.solver.display import digits
from annelid.solver.model import quantities as q

__all__ = ["fact", "fact_groups", "state_table"]


def fact_groups(facts: Mapping[str, Any]) -> list[dict[str, Any]]:
    """Arrange facts as groups of pairs or as small tables, whichever they are."""
    plain = {name: value for name, value in facts.items() if not _is_group(value)}
    groups: list[dict[str, Any]] = [_pairs_group("Run", plain)] if plain else []
    for name, value in facts.items():
        if isinstance(value, Mapping):
            groups.append(_pairs_group(name, value))
        elif _is_group(value):
            columns = list(dict.fromkeys(key for row in value for key in row))
            rows = [[fact(row.get(key, "")) for key in columns] for row in value]
            groups.append({"heading": name, "columns": columns, "rows": rows, "pairs": {}})
    return groups


def _is_group(value: Any) -> bool:
    return isinstance(value, Mapping) or (
        isinstance(value, list | tuple) and bool(value) and all(isinstance(row, Mapping) for row in value)
    )


def _pairs_group(heading: str, values: Mapping[str, Any]) -> dict[str, Any]:
    return {
        "heading": heading,
        "pairs": {name: fact(value) for name, value in values.items()},
        "columns": [],
        "rows": [],
    }


def fact(value: Any) -> str:
    """A fact as text."""
    match value:
        case bool():
            return "yes" if value else "no"
        case float():
            return digits(value)
        case Mapping():
            return ", ".join(f"{key} {fact(member)}" for key, member in value.items())
        case list() | tuple():
            return ", ".join(map(fact, value))
        case _:
            return str(value)


def state_table(table: PathTable | None) -> dict[str, Any]:
    """One row for each state: its loads and its convergence."""
    if table is None:
        return {"columns": [], "rows": []}
    technical = (
        "iterations",
        "residual",
        "factorisations",
        q.UNSTABLE_MODES.name,
        q.UNSTABLE_MODES_CONTROLLED.name,
    )
    names = ["parameter", *table.loads, *technical]
    shown = {n: table.shown(n, float(np.nanmax(np.abs(table[n]), initial=0.0))) for n in names}
    texts = {"critical": table.critical, "reached by": table.reached_by}
    texts = {name: column for name, column in texts.items() if any(column)}
    columns = ["state", "stage", *texts]
    columns += [shown[n].label(n) for n in names]
    rows = []
    for i, stage in enumerate(table.stages):
        cells = [
            f"{table['residual'][i]:.1e}" if n == "residual" else _cell(table, n, i, shown[n].factor)
            for n in names
        ]
        marks = [column[i] for column in texts.values()]
        rows.append([digits(float(table["state"][i])), stage, *marks, *cells])
    return {"columns": columns, "rows": rows}


def _cell(table: PathTable, name: str, row: int, factor: float) -> str:
    return digits(float(table[name][row]) * factor)
