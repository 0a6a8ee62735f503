# SPDX-License-Identifier: MIT
"""What a file of one state says about it: numbers with telling names, which every program reads."""

from collections.abc import Mapping, Sequence

import numpy as np

from annelid.geometry.body import FloatArray
from annelid.results.folder.run_record import RunRecord
from annelid.results.folder.run_records import Verdict
from annelid.results.folder.tables import PathRecord
from annelid.solver.display import DisplayUnits
from annelid.solver.model.quantities import TIME, quantity_of

_SPACE = "\N{NO-BREAK SPACE}"


def times_of(table: PathRecord) -> tuple[str, FloatArray]:
    """Return what the times of a path are, and the time of each row, ascending."""
    if (np.diff(table.coordinate) > 0).all():
        return "time, number of the stage + its parameter", table.coordinate
    return "time, number of the state, as the path turns back", table["state"]


def state_numbers(run: RunRecord, row: int) -> dict[str, float]:
    """Return time, stage, loads and requirements of a row of the table, and the parts and electrodes.

    Loads and requirements are in the units that are shown, which their names state.
    """
    table, (meaning, times) = run.table, times_of(run.table)
    numbers = {
        meaning: float(times[row]),
        "state": float(table["state"][row]),
        f"parameter of stage {table.stages[row]}": float(table["parameter"][row]),
    }
    if TIME.name in table.columns:
        numbers["time [s]"] = float(table[TIME.name][row])
    numbers |= _loads(table, row)
    numbers |= _requirements(run.verdicts, run.units)
    obstacles = [f"obstacle {contact.name}" for contact in run.description.obstacles]
    numbers |= {f"part {i} is {name}": float(i) for i, name in enumerate([*run.body.regions, *obstacles])}
    return numbers | {f"electrode {i} is {name}": float(i) for i, name in enumerate(run.body.bands)}


def _loads(table: PathRecord, row: int) -> Mapping[str, float]:
    """The loads that act somewhere on the path."""
    largest = {name: float(np.nanmax(np.abs(table[name]), initial=0.0)) for name in table.loads}
    units = {name: table.display_unit(name, size) for name, size in largest.items() if size > 0}
    return {unit.label(name): float(table[name][row]) * unit.factor for name, unit in units.items()}


def _requirements(verdicts: Sequence[Verdict], units: DisplayUnits) -> Mapping[str, float]:
    numbers = {}
    for v in verdicts:
        kind = quantity_of(v.quantity).kind
        unit = units.unit(kind, v.value)
        condition = f"{v.condition} {units.show(kind, v.limit)}, {v.where}".replace(_SPACE, " ")
        name = f"requirement {'met' if v.met else 'not met'}: {v.quantity} {condition}"
        numbers[unit.label(name)] = v.value * unit.factor
    return numbers
