# SPDX-License-Identifier: MIT
"""The section of a report on the last cycle of a part with a flow: what it pumps, and where energy goes."""

import math
from collections.abc import Iterator
from typing import Any

import numpy as np

from annelid.results.figures.energy_bar import NOTHING, energy_bar, share
from annelid.results.figures.flow_curves import flow_curves
from annelid.results.figures.path_figures import SvgFigure
from annelid.results.figures.pressure_volume import pressure_volume_loop
from annelid.results.figures.space_time import pressure_map
from annelid.results.folder.cycles import cycle_rows, last_window
from annelid.results.folder.pump_cycle import CycleEnergies, cycle_energies, pump_values
from annelid.results.folder.run_record import RunRecord
from annelid.results.folder.tables import PathRecord
from annelid.solver.display import DisplayUnits, digits
from annelid.solver.model import cycle_quantities as c
from annelid.solver.model import flow_quantities as f
from annelid.solver.model import quantities as q

_MOST = 4  # elements whose mean flow is named
_EQUAL = 1e-3  # mean flows that are nearer to each other are named once
_REPEATS = 0.01  # difference of cycles up to which they repeat
_NUMBERS = (f.REYNOLDS, f.WOMERSLEY, f.WALL_SLOPE)


def cycle_section(run: RunRecord) -> dict[str, list[Any]]:
    """Return sentences and figures on the last cycle; both empty for a part without a flow."""
    table = run.table
    figures: list[SvgFigure | None] = []
    paragraphs: list[str] = []
    window = last_window(run.description.cycles, table)
    rows = np.zeros(0, dtype=int) if window is None else cycle_rows(table, window)
    if window is not None and rows.size and _has_flow(table):
        energies = cycle_energies(table, rows)
        values = pump_values(table, rows, window.period)
        paragraphs += [*_pumped(values, run.units), *_energies(energies, run.units), *_repetition(run)]
        if f.VISCOUS_LOSS.name not in table.columns and not math.isnan(energies.work):
            before = cycle_rows(table, window, 2) if window.cycles > 1 else rows[:0]
            figures.append(pressure_volume_loop(table, rows, before, work=energies.work, name="loop"))
        figures.append(flow_curves(table, rows, name="cycle"))
        figures.append(_pressures(run))
        if energies.electrical and not math.isnan(energies.rest):
            figures.append(energy_bar(energies, units=run.units, name="energies"))
    paragraphs += _validity(table)
    return {"paragraphs": paragraphs, "figures": [figure for figure in figures if figure]}


def _pressures(run: RunRecord) -> SvgFigure | None:
    """Map of the pressure along the lumen over all states with a flow along it."""
    flows, table = run.flow_history(), run.table
    rows = [row for row, state in enumerate(table["state"]) if int(state) in flows]
    if len(rows) < 2:
        return None
    along = [flows[int(table["state"][row])] for row in rows]
    return pressure_map(table[q.TIME.name][rows], along, units=run.units, name="pressures")


def path_values(run: RunRecord) -> Iterator[tuple[str, str]]:
    """Yield names and values, as text, of the quantities of the whole path that a run has."""
    for header, value in run.summary.get("path_quantities", {}).items():
        name, number = header.rpartition(" [")[0], float(value)
        if not math.isnan(number):
            yield name, run.units.show(q.quantity_of(name).kind, number)


def _has_flow(table: PathRecord) -> bool:
    return f.FLUID_WORK.name in table.columns or f.ELECTRICAL_INPUT.name in table.columns


def _pumped(values: dict[str, float], units: DisplayUnits) -> Iterator[str]:
    """What leaves the lumen, and what goes through the elements of a circuit."""
    if c.MEAN_FLOW.name in values:
        volume, mean = (
            units.show(quantity.kind, abs(values[quantity.name]))
            for quantity in (c.PUMPED_VOLUME, c.MEAN_FLOW)
        )
        verb = "leaves" if values[c.PUMPED_VOLUME.name] >= 0 else "enters"
        yield f"In the last cycle {volume} {verb} the upper end of the lumen, a mean flow of {mean}."
    stem = c.MEAN_FLOW_OF.stem
    flows = {name.removeprefix(stem): flow for name, flow in values.items() if name.startswith(stem)}
    different: list[str] = []
    for name, flow in flows.items():  # elements in series have one flow
        if flow and not any(math.isclose(flow, flows[other], rel_tol=_EQUAL) for other in different):
            different.append(name)
    largest = sorted(different, key=lambda name: -abs(flows[name]))[:_MOST]
    shown = [f"{units.show(c.MEAN_FLOW.kind, flows[name])} through {name}" for name in largest]
    if shown:
        yield f"Mean flows of the last cycle: {', '.join(shown)}."


def _energies(energies: CycleEnergies, units: DisplayUnits) -> Iterator[str]:
    """Electrical energy, hydraulic work and what flows back."""
    work = 0.0 if abs(energies.hydraulic) < NOTHING * abs(energies.electrical) else energies.hydraulic
    electrical, recovered, hydraulic = (
        units.show("energy", energy) for energy in (energies.electrical, energies.recovered, work)
    )
    if math.isnan(energies.electrical):
        yield f"The hydraulic work is {hydraulic} a cycle."
        return
    back = f"The sources give {electrical} a cycle; {recovered} flows back from the part in the meantime."
    if math.isnan(energies.work):
        yield back
        return
    pumps = min(energies.electrical, work) > 0
    efficiency = (
        f", an efficiency of {share(energies.hydraulic, energies.electrical - energies.stored, units)}"
        if pumps
        else ""
    )
    yield f"{back} The hydraulic work is {hydraulic}{efficiency}."


def _repetition(run: RunRecord) -> Iterator[str]:
    """Whether the lumen volume repeats that of the cycle before."""
    difference = float(run.summary.get("path_quantities", {}).get(f"{c.CYCLE_DIFFERENCE.name} [1]", math.nan))
    if math.isnan(difference):
        yield "There is no second whole cycle, so it is not known whether cycles repeat."
    elif difference > _REPEATS:
        yield (
            f"The cycles do not repeat yet: the lumen volume differs from that of the cycle before by "
            f"{run.units.show('fraction', difference, 2)} of the stroke volume."
        )


def _validity(table: PathRecord) -> Iterator[str]:
    """Largest numbers on which the theory of a flow along the lumen depends."""
    if f.REYNOLDS.name not in table.columns or np.isnan(table[f.REYNOLDS.name]).all():
        return
    numbers = [
        f"{quantity.name} {digits(float(np.nanmax(table[quantity.name])), 3)}" for quantity in _NUMBERS
    ]
    yield f"Largest numbers of the flow along the lumen: {', '.join(numbers[:-1])} and {numbers[-1]}."
