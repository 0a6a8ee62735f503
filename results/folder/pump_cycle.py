# SPDX-License-Identifier: MIT
"""Volumes and energies of one cycle of a part with a flow, as differences of what adds up over time."""

from collections.abc import Iterator
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from annelid.results.folder.tables import PathRecord
from annelid.solver.model import cycle_quantities as c
from annelid.solver.model import flow_quantities as f
from annelid.solver.model import quantities as q


class CycleEnergies(NamedTuple):
    """Energies of a cycle, mJ; ``nan`` for those that the model does not have.

    Attributes:
        electrical: That the sources give, less what they take back.
        recovered: That flows back from the part in the meantime.
        stored: Change of strain energy and stored electrical energy.
        work: Of the wall on the fluid.
        hydraulic: That what is outside the lumen gets.
        viscous: Lost along the lumen; 0 without a fluid along it.
        resistive: Lost in series resistances; 0 without feeds.
        leak: Lost by leakage; 0 without feeds.
    """

    electrical: float
    recovered: float
    stored: float
    work: float
    hydraulic: float
    viscous: float
    resistive: float
    leak: float

    @property
    def rest(self) -> float:
        """Electrical energy that is in no other entry."""
        return self.electrical - self.stored - self.hydraulic - self.viscous - self.resistive - self.leak

    @property
    def efficiency(self) -> float:
        """Hydraulic work over the electrical energy that is not stored; ``nan`` if there is none."""
        used = self.electrical - self.stored
        return self.hydraulic / used if used > 0 else np.nan


def cycle_energies(table: PathRecord, rows: NDArray[np.int64]) -> CycleEnergies:
    """Return the energies of a cycle.

    Args:
        table: The path.
        rows: Its rows from the beginning of the cycle to its end.
    """

    def gained(name: str, otherwise: float = np.nan) -> float:
        return _gained(table, name, rows) if name in table.columns else otherwise

    put_in = gained(f.ELECTRICAL_INPUT.name)
    resistive, leak = gained(f.RESISTIVE_LOSS.name, 0.0), gained(f.LEAK_LOSS.name, 0.0)
    work, ends = gained(f.FLUID_WORK.name), (f.LOWER_WORK.name, f.UPPER_WORK.name)
    sums = table.columns.get(f.ELECTRICAL_INPUT.name, np.full(len(table), np.nan))
    return CycleEnergies(
        electrical=gained(f.SOURCE_ENERGY.name) if _all_fed(table) else put_in + resistive + leak,
        recovered=-float(np.minimum(np.diff(sums[rows]), 0.0).sum()),
        stored=gained(q.STRAIN_ENERGY.name) + gained(q.ELECTRICAL_ENERGY.name, 0.0),
        work=work,
        hydraulic=sum(map(gained, ends)) if ends[0] in table.columns else work,
        viscous=gained(f.VISCOUS_LOSS.name, 0.0),
        resistive=resistive,
        leak=leak,
    )


def pump_values(table: PathRecord, rows: NDArray[np.int64], period: float) -> dict[str, float]:
    """Return the values of a cycle by the name of their quantity.

    Args:
        table: The path.
        rows: As in ``cycle_energies``; empty if the path has no whole cycle, whose values are ``nan``.
        period: Duration of the cycle, s.
    """
    values = dict(_volumes(table, rows, period))
    if f.FLUID_WORK.name not in table.columns and f.ELECTRICAL_INPUT.name not in table.columns:
        return values
    energies = cycle_energies(table, rows) if rows.size else CycleEnergies(*[np.nan] * 8)
    rest = abs(energies.rest / energies.electrical) if energies.electrical else np.nan
    known = {
        f.FLUID_WORK: ((c.STROKE_WORK, energies.work), (c.HYDRAULIC_WORK, energies.hydraulic)),
        f.VISCOUS_LOSS: ((c.CYCLE_VISCOUS_LOSS, energies.viscous),),
        f.ELECTRICAL_INPUT: (
            (c.CYCLE_ELECTRICAL_ENERGY, energies.electrical),
            (c.RECOVERED_ENERGY, energies.recovered),
        ),
        f.RESISTIVE_LOSS: (
            (c.CYCLE_RESISTIVE_LOSS, energies.resistive),
            (c.CYCLE_LEAK_LOSS, energies.leak),
        ),
    }
    for source, entries in known.items():
        if source.name in table.columns:
            values |= {quantity.name: value for quantity, value in entries}
    if {f.FLUID_WORK.name, f.ELECTRICAL_INPUT.name} <= set(table.columns):
        values |= {c.EFFICIENCY.name: energies.efficiency, c.ENERGY_BALANCE.name: rest}
    return values


def _volumes(table: PathRecord, rows: NDArray[np.int64], period: float) -> Iterator[tuple[str, float]]:
    """Volume and mean flow out of the upper end of the lumen, and through each element of a circuit."""
    for name in table.columns:
        if name == f.UPPER_VOLUME.name:
            names = c.PUMPED_VOLUME.name, c.MEAN_FLOW.name
        elif f.ELEMENT_VOLUME_OF.matches(name):
            element = name.removeprefix(f.ELEMENT_VOLUME_OF.stem)
            names = c.PUMPED_VOLUME_OF.of(element), c.MEAN_FLOW_OF.of(element)
        else:
            continue
        volume = _gained(table, name, rows)
        yield from zip(names, (volume, volume / period), strict=True)


def _gained(table: PathRecord, name: str, rows: NDArray[np.int64]) -> float:
    """Change of a sum over rows; ``nan`` if there are none."""
    return float(table[name][rows[-1]] - table[name][rows[0]]) if rows.size else np.nan


def _all_fed(table: PathRecord) -> bool:
    """Whether each electrode has a feed, so that the energy of the sources is all that is put in."""
    fed, electrodes = (
        sum(family.matches(name) for name in table.columns) for family in (f.CURRENT_OF, q.CHARGE_OF)
    )
    return 0 < fed == electrodes
