# SPDX-License-Identifier: MIT
"""Energies of the unloaded states of a path, and the energy that a snap at constant pressure releases.

If one pressure alone does work, dU = P dV along the path. Energies between two rows follow from strain energy
and displaced volume, and the integral ∫ P dV along the whole path checks them.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any, NamedTuple

import numpy as np

from annelid.results.folder.tables import PathRecord, quantity_header
from annelid.solver.model import quantities as q

_NEEDED = ("pressure", q.DISPLACED_VOLUME.name, q.STRAIN_ENERGY.name)
_ON = "pressure on "  # and the surface: name of a load
_LARGEST_DISAGREEMENT = 0.05  # of the largest energy; if it is larger, not only the pressure did work
_SAME_VOLUME = 1e-3  # of the range of volumes; unloaded states that are closer count as the same state
_ZERO_PRESSURE = 1e-9  # of the largest pressure


class UnloadedState(NamedTuple):
    """An unloaded equilibrium on the path.

    Attributes:
        state: Number of the state; not an integer if it is between two computed states.
        energy: Strain energy, mJ.
        volume: Displaced volume, mm³.
        modes: Number of unstable modes.
    """

    state: float
    energy: float
    volume: float
    modes: int


class Snap(NamedTuple):
    """A limit point from which the part, at constant pressure, would snap to a stable state of the same path.

    Attributes:
        state: Number of the critical state.
        pressure: Critical pressure, MPa.
        end: Number of the stable state at the same pressure; not an integer if it is between two states.
        released: Work of the pressure minus the increase of strain energy during the snap, mJ.
    """

    state: int
    pressure: float
    end: float
    released: float


@dataclass(frozen=True)
class Energies:
    """Energies of a path.

    Attributes:
        unloaded_states: Unloaded states in path order, without repetitions.
        snaps: Limit points for which the path contains the state after the snap.
        disagreement: Largest difference between ∫ P dV and the change of strain energy, relative to the range
            of strain energy.
    """

    unloaded_states: tuple[UnloadedState, ...]
    snaps: tuple[Snap, ...]
    disagreement: float

    @property
    def stable(self) -> tuple[UnloadedState, ...]:
        """The stable ones among the unloaded states."""
        return tuple(state for state in self.unloaded_states if state.modes == 0)

    def barrier(self, first: UnloadedState, second: UnloadedState) -> UnloadedState | None:
        """The unstable unloaded state of lowest energy between two others along the path."""
        between = [s for s in self.unloaded_states if first.state < s.state < second.state and s.modes > 0]
        return min(between, key=lambda state: state.energy, default=None)

    def to_mapping(self) -> dict[str, Any]:
        """Return the entry of ``summary.json``."""
        state_keys = {
            "energy": quantity_header(q.STRAIN_ENERGY),
            "volume": quantity_header(q.DISPLACED_VOLUME),
            "modes": quantity_header(q.UNSTABLE_MODES),
        }
        snap_keys = {"pressure": "pressure [MPa]", "released": "energy released [mJ]"}
        return {
            "unloaded_states": [_with_keys(state, state_keys) for state in self.unloaded_states],
            "snaps": [_with_keys(snap, snap_keys) for snap in self.snaps],
            "stored between stable states [mJ]": [s.energy - self.stable[0].energy for s in self.stable[1:]],
            "disagreement of the integral of p dV [1]": self.disagreement,
        }


def energies_of(table: PathRecord) -> Energies | None:
    """Energies of a path; ``None`` if a pressure, in the lumen or on a surface, is not all that does work."""
    acting = [load for load in table.loads if table[load].any()]
    if len(acting) == 1 and acting[0].startswith(_ON):
        table = _as_lumen(table, acting[0].removeprefix(_ON))
    elif acting != ["pressure"]:
        return None
    if any(name not in table.columns for name in _NEEDED):
        return None
    P, V, U = (table[name] for name in _NEEDED)
    work = np.concatenate([[0.0], np.cumsum((P[1:] + P[:-1]) / 2 * np.diff(V))])
    # A jump dissipates energy, so each part of the path between jumps is checked separately.
    part = np.cumsum(table.after_jump)
    differences = [(U - work)[part == k] for k in np.unique(part)]
    largest = float(np.ptp(U))
    disagreement = max(float(np.ptp(values)) for values in differences) / largest if largest > 0 else 0.0
    if disagreement > _LARGEST_DISAGREEMENT:
        return None
    return Energies(_unloaded_states(table), _snaps(table), disagreement)


def _as_lumen(table: PathRecord, surface: str) -> PathRecord:
    """The table with the pressure on a surface, and the volume displaced there, as those of the lumen."""
    columns = {"pressure": table[_ON + surface]}
    volume = q.DISPLACED_VOLUME_AT.of(surface)
    if volume in table.columns:
        columns[q.DISPLACED_VOLUME.name] = table[volume]
    return replace(table, columns={**table.columns, **columns})


def _unloaded_states(table: PathRecord) -> tuple[UnloadedState, ...]:
    modes = table[q.UNSTABLE_MODES.name]
    near = _SAME_VOLUME * float(np.ptp(table[q.DISPLACED_VOLUME.name]))
    unloaded: list[UnloadedState] = []
    for row, fraction in _crossings(table, 0.0):
        state, energy, volume = _between(table, row, fraction)
        count = int(modes[row] if fraction == 0.0 else modes[row : row + 2].max())
        same = [s for s in unloaded if abs(s.volume - volume) < near and (s.modes == 0) == (count == 0)]
        if not same:
            unloaded.append(UnloadedState(state, energy, volume, count))
    return tuple(unloaded)


def _snaps(table: PathRecord) -> tuple[Snap, ...]:
    snaps = []
    modes = table[q.UNSTABLE_MODES.name]
    for row in np.flatnonzero(table.is_critical):
        last = row == len(table) - 1
        if table.critical[row] != "limit point" or last or table.after_jump[row + 1]:
            continue
        forward = modes[row] == 0
        if not forward and modes[row + 1] > 0:
            continue  # unstable on both sides
        pressure = float(table["pressure"][row])
        snap = _snap(table, int(row), pressure, forward=bool(forward))
        if snap is not None:
            snaps.append(snap)
    return tuple(snaps)


def _snap(table: PathRecord, row: int, pressure: float, *, forward: bool) -> Snap | None:
    """The snap to the nearest stable state of the same pressure after the unstable part of the path."""
    modes = table[q.UNSTABLE_MODES.name]
    candidates = [
        (i, fraction)
        for i, fraction in _crossings(table, pressure)
        if (i > row + 1 if forward else i + 1 < row) and modes[i : i + 2].max() == 0
    ]
    if not candidates:
        return None
    state, energy, volume = _between(table, *(candidates[0] if forward else candidates[-1]))
    U, V = table[q.STRAIN_ENERGY.name][row], table[q.DISPLACED_VOLUME.name][row]
    released = pressure * (volume - V) - (energy - U)
    return Snap(int(table["state"][row]), pressure, state, float(released)) if released > 0 else None


def _crossings(table: PathRecord, pressure: float) -> list[tuple[int, float]]:
    """Rows at or after which the path passes a pressure, with the fraction of the step to the next row."""
    difference = table["pressure"] - pressure
    difference[np.abs(difference) < _ZERO_PRESSURE * np.abs(table["pressure"]).max()] = 0.0
    continuous = ~table.after_jump[1:]
    crossings = [(int(i), 0.0) for i in np.flatnonzero(difference == 0.0)]
    for i in np.flatnonzero((difference[1:] * difference[:-1] < 0) & continuous):
        crossings.append((int(i), float(difference[i] / (difference[i] - difference[i + 1]))))
    return sorted(crossings)


def _between(table: PathRecord, row: int, fraction: float) -> tuple[float, float, float]:
    """State number, strain energy and displaced volume at a fraction of the step after a row."""
    state, P, V, U = (table[name] for name in ("state", *_NEEDED))
    if fraction == 0.0:
        return float(state[row]), float(U[row]), float(V[row])
    step = V[row + 1] - V[row]
    pressure = P[row] + fraction * (P[row + 1] - P[row])
    energy = U[row] + (P[row] + pressure) / 2 * fraction * step
    return float(state[row] + fraction), float(energy), float(V[row] + fraction * step)


def _with_keys(record: UnloadedState | Snap, keys: Mapping[str, str]) -> dict[str, float]:
    return {keys.get(key, key): value for key, value in record._asdict().items()}
