# SPDX-License-Identifier: MIT
"""A path on which one load alone acts: the load, its work-conjugate and the energy, row by row."""

from dataclasses import dataclass

import numpy as np

from annelid.geometry.body import FloatArray
from annelid.results.folder.tables import PathRecord
from annelid.solver.model import quantities as q
from annelid.solver.model.loads import load_kind

_ZERO = 1e-9  # of the largest load
_SAME_STATE = 1e-3  # of the range of the work-conjugate; states that are closer count as the same


@dataclass(frozen=True)
class SingleLoad:
    """The only load of a path.

    Attributes:
        name: Name of the load; of electrodes with the same voltage that of the first.
        conjugate: Name of the work-conjugate quantity.
        P: Load of each row.
        V: Work-conjugate of each row, so that dU = P dV: displaced volume, length (negative if the force acts
            on the lower end) or charge.
        U: Energy of each row, strain energy and electrical energy, mJ.
        state: Number of the state of each row.
        after_jump: Rows that were reached by a jump.
    """

    name: str
    conjugate: str
    P: FloatArray
    V: FloatArray
    U: FloatArray
    state: FloatArray
    after_jump: np.ndarray

    @property
    def same(self) -> float:
        """Difference of the work-conjugate below which two states of the same load are one."""
        return _SAME_STATE * float(np.ptp(self.V))

    def crossings(self, load: float) -> list[tuple[int, float]]:
        """Rows at or after which the path passes a load, with the fraction of the step to the next row."""
        difference = self.P - load
        difference[np.abs(difference) < _ZERO * np.abs(self.P).max()] = 0.0
        found = [(int(i), 0.0) for i in np.flatnonzero(difference == 0.0)]
        for i in np.flatnonzero((difference[1:] * difference[:-1] < 0) & ~self.after_jump[1:]):
            found.append((int(i), float(difference[i] / (difference[i] - difference[i + 1]))))
        return sorted(found)

    def between(self, row: int, fraction: float) -> tuple[float, float, float]:
        """State number, energy and work-conjugate at a fraction of the step after a row."""
        P, V, U = self.P, self.V, self.U
        if fraction == 0.0:
            return float(self.state[row]), float(U[row]), float(V[row])
        step = V[row + 1] - V[row]
        load = P[row] + fraction * (P[row + 1] - P[row])
        energy = U[row] + (P[row] + load) / 2 * fraction * step
        return float(self.state[row] + fraction), float(energy), float(V[row] + fraction * step)


def conjugate_of(load: str) -> tuple[str, float] | None:
    """Name of the work-conjugate of a load and its sign; ``None`` where none is reported.

    A force along +Z on the lower end works as the part becomes shorter.
    """
    kind = load_kind(load)
    if kind is not None and kind.key == "surface_pressure":
        return q.DISPLACED_VOLUME_AT.of(kind.entry(load)), 1.0
    if kind is not None and kind.key == "voltage":
        return q.CHARGE.name, 1.0
    known = {
        "pressure": (q.DISPLACED_VOLUME.name, 1.0),
        "axial force end_high": (q.LENGTH.name, 1.0),
        "axial force end_low": (q.LENGTH.name, -1.0),
    }
    return known.get(load)


def single_load(table: PathRecord) -> SingleLoad | None:
    """The load of a path on which it is the only one; ``None`` if there are several, or none.

    Electrodes with the same voltage carry one load.
    """
    acting = [name for name in table.loads if np.nan_to_num(table[name]).any()]
    electrodes = list(table.loads_of("voltage").values())
    is_voltage = bool(acting) and set(acting) <= set(electrodes)
    if is_voltage:  # electrodes at rest, too: their voltage differs
        acting = electrodes
    if not acting or (len(acting) > 1 and not is_voltage):
        return None
    P, conjugate = table[acting[0]], conjugate_of(acting[0])
    same = all(np.array_equal(table[name], P) for name in acting)
    if not same or conjugate is None:
        return None
    name, sign = conjugate
    if any(n not in table.columns for n in (name, q.STRAIN_ENERGY.name)):
        return None
    V, U = sign * table[name], table[q.STRAIN_ENERGY.name]
    if is_voltage:
        U = U + np.nan_to_num(table.columns.get(q.ELECTRICAL_ENERGY.name, np.zeros(len(table))))
    if not np.isfinite([P, V, U]).all():
        return None
    return SingleLoad(acting[0], name, P, V, U, table["state"], table.after_jump)
