# SPDX-License-Identifier: MIT
"""Energy between the unloaded states of a part, and what a snap at constant pressure releases.

Along a path on which the pressure alone does work, dU = P dV: strain energy and displaced volume give the
energies of states between two rows, and ∫ P dV along the whole path checks them.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from annelid.results.folder.tables import PathTable
from annelid.solver.model import quantities as q

_NEEDED = ("pressure", q.DISPLACED_VOLUME.name, q.STRAIN_ENERGY.name)
_AGREE = 0.05  # of the largest energy: beyond it something else than the pressure did work
_SAME = 1e-3  # of the range of volumes: unloaded states nearer than that are one
_ZERO = 1e-9  # of the largest pressure


class Rest(NamedTuple):
    """An unloaded equilibrium on the path.

    Attributes:
        state: Number of the state, a fraction between two.
        energy: Strain energy, mJ.
        volume: Displaced volume, mm³.
        modes: Unstable modes.
    """

    state: float
    energy: float
    volume: float
    modes: int


class Snap(NamedTuple):
    """A limit point from which a part at constant pressure would snap to a stable state of the same path.

    Attributes:
        state: Number of the critical state.
        pressure: There, MPa.
        end: Number of the stable state at the same pressure, a fraction between two.
        released: Work of the pressure less the gain of strain energy on the way, mJ.
    """

    state: int
    pressure: float
    end: float
    released: float


@dataclass(frozen=True)
class Energies:
    """Energies of a path.

    Attributes:
        rests: Unloaded states in the order of the path, the same one once.
        snaps: Limit points from which the path contains the state after the snap.
        disagreement: Largest difference between ∫ P dV and the strain energy gained, over the largest gain.
    """

    rests: tuple[Rest, ...]
    snaps: tuple[Snap, ...]
    disagreement: float

    @property
    def stable(self) -> tuple[Rest, ...]:
        """Unloaded states that are stable."""
        return tuple(rest for rest in self.rests if rest.modes == 0)

    def barrier(self, one: Rest, two: Rest) -> Rest | None:
        """The lowest unstable unloaded state between two, in the order of the path."""
        between = [r for r in self.rests if one.state < r.state < two.state and r.modes > 0]
        return min(between, key=lambda rest: rest.energy, default=None)

    def to_mapping(self) -> dict[str, Any]:
        """Return the entry of ``summary.json``."""
        units = {
            "energy": "strain energy [mJ]",
            "volume": "displaced volume [mm3]",
            "modes": "unstable modes [1]",
        }
        snaps = {"pressure": "pressure [MPa]", "released": "energy released [mJ]"}
        return {
            "unloaded_states": [_named(rest, units) for rest in self.rests],
            "snaps": [_named(snap, snaps) for snap in self.snaps],
            "stored between stable states [mJ]": [r.energy - self.stable[0].energy for r in self.stable[1:]],
            "disagreement of the integral of p dV [1]": self.disagreement,
        }


def energies_of(table: PathTable) -> Energies | None:
    """Energies of a path, ``None`` where the pressure is not the only load or something else did work."""
    if any(name not in table.columns for name in _NEEDED):
        return None
    if any(table[load].any() for load in table.loads if load != "pressure") or not table["pressure"].any():
        return None
    P, V, U = (table[name] for name in _NEEDED)
    work = np.concatenate([[0.0], np.cumsum((P[1:] + P[:-1]) / 2 * np.diff(V))])
    # A jump dissipates energy; each piece between jumps is judged by itself.
    stretch = np.cumsum(table.after_jump)
    gains = [(U - work)[stretch == k] for k in np.unique(stretch)]
    largest = float(np.ptp(U))
    disagreement = max(float(np.ptp(gain)) for gain in gains) / largest if largest > 0 else 0.0
    if disagreement > _AGREE:
        return None
    return Energies(_rests(table), _snaps(table), disagreement)


def _rests(table: PathTable) -> tuple[Rest, ...]:
    modes = table[q.UNSTABLE_MODES.name]
    near = _SAME * float(np.ptp(table[q.DISPLACED_VOLUME.name]))
    found: list[Rest] = []
    for row, fraction in _crossings(table, 0.0):
        state, energy, volume = _between(table, row, fraction)
        count = int(modes[row] if fraction == 0.0 else modes[row : row + 2].max())
        same = [r for r in found if abs(r.volume - volume) < near and (r.modes == 0) == (count == 0)]
        if not same:
            found.append(Rest(state, energy, volume, count))
    return tuple(found)


def _snaps(table: PathTable) -> tuple[Snap, ...]:
    found = []
    modes = table[q.UNSTABLE_MODES.name]
    for row in np.flatnonzero(table.is_critical):
        last = row == len(table) - 1
        if table.critical[row] != "limit point" or last or table.after_jump[row + 1]:
            continue
        onward = modes[row] == 0
        if not onward and modes[row + 1] > 0:
            continue  # unstable on both sides
        pressure = float(table["pressure"][row])
        snap_end = _snap_end(table, int(row), pressure, onward=bool(onward))
        if snap_end is not None:
            found.append(snap_end)
    return tuple(found)


def _snap_end(table: PathTable, row: int, pressure: float, *, onward: bool) -> Snap | None:
    """The nearest stable state of the same pressure beyond the unstable stretch."""
    modes = table[q.UNSTABLE_MODES.name]
    beyond = [
        (i, fraction)
        for i, fraction in _crossings(table, pressure)
        if (i > row + 1 if onward else i + 1 < row) and modes[i : i + 2].max() == 0
    ]
    if not beyond:
        return None
    state, energy, volume = _between(table, *(beyond[0] if onward else beyond[-1]))
    U, V = table[q.STRAIN_ENERGY.name][row], table[q.DISPLACED_VOLUME.name][row]
    released = pressure * (volume - V) - (energy - U)
    return Snap(int(table["state"][row]), pressure, state, float(released)) if released > 0 else None


def _crossings(table: PathTable, pressure: float) -> list[tuple[int, float]]:
    """Rows at or behind which the path takes a pressure, with the fraction of the step to the next row."""
    off = table["pressure"] - pressure
    off[np.abs(off) < _ZERO * np.abs(table["pressure"]).max()] = 0.0
    unbroken = ~table.after_jump[1:]
    found = [(int(i), 0.0) for i in np.flatnonzero(off == 0.0)]
    for i in np.flatnonzero((off[1:] * off[:-1] < 0) & unbroken):
        found.append((int(i), float(off[i] / (off[i] - off[i + 1]))))
    return sorted(found)


def _between(table: PathTable, row: int, fraction: float) -> tuple[float, float, float]:
    """State number, strain energy and displaced volume at a fraction of the step after a row."""
    state, P, V, U = (table[name] for name in ("state", *_NEEDED))
    if fraction == 0.0:
        return float(state[row]), float(U[row]), float(V[row])
    step: NDArray[np.float64] = np.diff(V[row : row + 2])
    here = P[row] + fraction * (P[row + 1] - P[row])
    energy = U[row] + (P[row] + here) / 2 * fraction * step[0]
    return float(state[row] + fraction), float(energy), float(V[row] + fraction * step[0])


def _named(record: Rest | Snap, units: Mapping[str, str]) -> dict[str, float]:
    return {units.get(key, key): value for key, value in record._asdict().items()}
