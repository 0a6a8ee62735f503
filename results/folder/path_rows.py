# SPDX-License-Identifier: MIT
"""States as rows of ``path.csv``, ``profiles.csv`` and ``flow.csv``."""

import csv
import io
from collections.abc import Iterable, Mapping, Sequence

import numpy as np

from annelid.results.folder.tables import (
    AFTER_LOADS,
    BEFORE_LOADS,
    BEFORE_QUANTITIES,
    CRITICAL,
    REACHED_BY,
    quantity_header,
)
from annelid.solver.model import quantities as q
from annelid.solver.records import Equilibrium

__all__ = ["csv_text", "flow_rows", "merge_columns", "path_text", "profile_rows", "state_row", "table_text"]


def state_row(state: Equilibrium) -> dict[str, object]:
    """Return one row of ``path.csv``; the columns before ``iterations`` are loads, the last ones quantities.

    A quantity that already has a column, such as the unstable modes, is written once.
    """
    row: dict[str, object] = {
        "state": state.index,
        "stage": state.stage,
        CRITICAL: state.critical,
        REACHED_BY: state.reached_by,
        BEFORE_LOADS: float(state.parameter),
    }
    row |= {f"{name} [{load.unit}]": float(load.value) for name, load in state.loads.items()}
    row |= {
        AFTER_LOADS: state.iterations,
        "residual [1]": float(state.residual),
        "factorisations [1]": state.factorisations,
        quantity_header(q.UNSTABLE_MODES): state.unstable_modes,
        BEFORE_QUANTITIES: state.unstable_modes_controlled,
    }
    for name, quantity in state.quantities.items():
        row.setdefault(f"{name} [{quantity.unit}]", float(quantity.value))
    for name, place in state.places.items():
        axes = ("R", "Z") if len(place) == 2 else ("X", "Y", "Z")
        row |= {f"{name} at {axis} [mm]": float(x) for axis, x in zip(axes, place, strict=True)}
    return row


def merge_columns(known: Sequence[str], row: Mapping[str, object]) -> list[str]:
    """Return ``known`` with the new columns of ``row`` inserted, each after its predecessor in the row."""
    columns = list(known)
    position = 0
    for name in row:
        if name in columns:
            position = columns.index(name) + 1
        else:
            columns.insert(position, name)
            position += 1
    return columns


def csv_text(columns: Sequence[str], rows: Sequence[Mapping[str, object]], *, header: bool) -> str:
    """Return rows as CSV text; cells without a value stay empty."""
    return table_text(columns, ([row.get(name, "") for name in columns] for row in rows), header=header)


def table_text(columns: Sequence[str], rows: Iterable[Sequence[object]], *, header: bool) -> str:
    """Return rows that have all columns as CSV text."""
    buffer = io.StringIO()
    writer = csv.writer(buffer, lineterminator="\n")
    if header:
        writer.writerow(columns)
    writer.writerows(rows)
    return buffer.getvalue()


def path_text(states: Sequence[Equilibrium]) -> str:
    """Return the rows of a whole path as CSV text."""
    rows, columns = [state_row(state) for state in states], list[str]()
    for row in rows:
        columns = merge_columns(columns, row)
    return csv_text(columns, rows, header=True)


def flow_rows(state: Equilibrium) -> list[list[object]]:
    """Return the rows of ``flow.csv`` for one state, one per section of the lumen."""
    along = state.flow_along
    if along is None:
        return []
    sections = np.column_stack(list(vars(along).values())).tolist()
    return [[state.index, number, *section] for number, section in enumerate(sections, start=1)]


def profile_rows(state: Equilibrium) -> list[list[object]]:
    """Return the rows of ``profiles.csv`` for one state, one per station of each surface."""
    return [
        [state.index, surface, *station]
        for surface, p in state.profiles.items()
        for station in np.column_stack([p.height, p.reference_radius, p.current_height, p.radius]).tolist()
    ]
