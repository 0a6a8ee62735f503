# SPDX-License-Identifier: MIT
"""Facts about a run (mesh, solution, cost, states) as groups of pairs and small tables."""

from collections.abc import Mapping
from typing import Any

import numpy as np

from annelid.results.folder.tables import PathRecord
from annelid.solver.display import digits
from annelid.solver.model import quantities as q

__all__ = ["fact_groups", "fact_text", "state_table"]


def fact_groups(facts: Mapping[str, Any]) -> list[dict[str, Any]]:
    """Arrange facts in groups, each of pairs or of the rows of a small table."""
    plain = {name: value for name, value in facts.items() if not _is_group(value)}
    groups: list[dict[str, Any]] = [_pairs_group("Run", plain)] if plain else []
    for name, value in facts.items():
        if isinstance(value, Mapping):
            groups.append(_pairs_group(name, value))
        elif _is_group(value):
            columns = list(dict.fromkeys(key for row in value for key in row))
            rows = [[fact_text(row.get(key, "")) for key in columns] for row in value]
            groups.append({"heading": name, "columns": columns, "rows": rows, "pairs": {}})
    return groups


def _is_group(value: Any) -> bool:
    return isinstance(value, Mapping) or (
        isinstance(value, list | tuple) and bool(value) and all(isinstance(row, Mapping) for row in value)
    )


def _pairs_group(heading: str, values: Mapping[str, Any]) -> dict[str, Any]:
    return {
        "heading": heading,
        "pairs": {name: fact_text(value) for name, value in values.items()},
        "columns": [],
        "rows": [],
    }


def fact_text(value: Any) -> str:
    """Return the value of a fact as text."""
    match value:
        case bool():
            return "yes" if value else "no"
        case float():
            return digits(value)
        case Mapping():
            return ", ".join(f"{key} {fact_text(member)}" for key, member in value.items())
        case list() | tuple():
            return ", ".join(map(fact_text, value))
        case _:
            return str(value)


def state_table(table: PathRecord | None) -> dict[str, Any]:
    """Return a table with the loads and the convergence of each state."""
    if table is None:
        return {"columns": [], "rows": []}
    solution = (
        "iterations",
        "residual",
        "factorisations",
        q.UNSTABLE_MODES.name,
        q.UNSTABLE_MODES_CONTROLLED.name,
    )
    names = ["parameter", *table.loads, *solution]
    units = {n: table.display_unit(n, float(np.nanmax(np.abs(table[n]), initial=0.0))) for n in names}
    texts = {"critical": table.critical, "reached by": table.reached_by}
    texts = {name: column for name, column in texts.items() if any(column)}
    columns = ["state", "stage", *texts]
    columns += [units[n].label(n) for n in names]
    rows = []
    for i, stage in enumerate(table.stages):
        cells = [
            f"{table['residual'][i]:.1e}" if n == "residual" else _cell(table, n, i, units[n].factor)
            for n in names
        ]
        remarks = [column[i] for column in texts.values()]
        rows.append([digits(float(table["state"][i])), stage, *remarks, *cells])
    return {"columns": columns, "rows": rows}


def _cell(table: PathRecord, name: str, row: int, factor: float) -> str:
    return digits(float(table[name][row]) * factor)
