# SPDX-License-Identifier: MIT
"""Energies of the unloaded states of a path, and the energy that a snap at constant load releases.

If one load P alone does work, dU = P dV along the path, where V is its work-conjugate. Energies between two
rows follow from U and V, and the integral ∫ P dV along the whole path checks them.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np

from annelid.results.folder.single_load import SingleLoad, single_load
from annelid.results.folder.tables import PathRecord, quantity_header
from annelid.solver.model import quantities as q
from annelid.solver.model.harmonic_words import waves_of

_LARGEST_DISAGREEMENT = 0.05  # of the largest energy; if it is larger, not only this load did work
_INTERPOLATION = 0.1  # of a step: the largest error of an unloaded state between two computed ones


class UnloadedState(NamedTuple):
    """An unloaded equilibrium on the path.

    Attributes:
        state: Number of the state; not an integer if it is between two computed states.
        energy: Strain energy and electrical energy, mJ.
        conjugate: Work-conjugate of the load, in its internal unit.
        modes: Number of unstable modes.
    """

    state: float
    energy: float
    conjugate: float
    modes: int


class Snap(NamedTuple):
    """A limit point from which the part, at constant load, snaps to a stable state of the same path.

    Attributes:
        state: Number of the critical state.
        load: Critical load, in its internal unit.
        end: Number of the stable state at the same load; not an integer if it is between two states.
        released: Work of the load minus the increase of energy during the snap, mJ.
    """

    state: int
    load: float
    end: float
    released: float


@dataclass(frozen=True)
class Energies:
    """Energies of a path.

    Attributes:
        load: Name of the load.
        unit: Its internal unit.
        conjugate: Name of its work-conjugate.
        unloaded_states: Unloaded states in path order, without repetitions.
        snaps: Limit points and jumps for which the path contains the state after the snap.
        disagreement: Largest difference between ∫ P dV and the change of energy, relative to the range of
            energy.
    """

    load: str
    unit: str
    conjugate: str
    unloaded_states: tuple[UnloadedState, ...]
    snaps: tuple[Snap, ...]
    disagreement: float

    @property
    def stable(self) -> tuple[UnloadedState, ...]:
        """The stable ones among the unloaded states."""
        return tuple(state for state in self.unloaded_states if state.modes == 0)

    def barrier(self, first: UnloadedState, second: UnloadedState) -> UnloadedState | None:
        """The pass between two stable unloaded states that follow each other along the path.

        It is one of the unstable unloaded states between them with the fewest unstable modes, since a pass
        has one, and of these the one of lowest energy.
        """
        between = [s for s in self.unloaded_states if first.state < s.state < second.state and s.modes > 0]
        return min(between, key=lambda state: (state.modes, state.energy), default=None)

    def to_mapping(self) -> dict[str, Any]:
        """Return the entry of ``summary.json``."""
        state_keys = {
            "energy": "energy [mJ]",
            "conjugate": quantity_header(q.quantity_of(self.conjugate)),
            "modes": quantity_header(q.UNSTABLE_MODES),
        }
        snap_keys = {"load": f"{self.load} [{self.unit}]", "released": "energy released [mJ]"}
        return {
            "load": self.load,
            "unloaded_states": [_with_keys(state, state_keys) for state in self.unloaded_states],
            "snaps": [_with_keys(snap, snap_keys) for snap in self.snaps],
            "stored between stable states [mJ]": [s.energy - self.stable[0].energy for s in self.stable[1:]],
            "disagreement of the work of the load [1]": self.disagreement,
        }


def energies_of(table: PathRecord) -> Energies | None:
    """Energies of a path; ``None`` if there is not one load alone that does work."""
    path = single_load(table)
    if path is None:
        return None
    P, V, U = path.P, path.V, path.U
    work = np.concatenate([[0.0], np.cumsum((P[1:] + P[:-1]) / 2 * np.diff(V))])
    # A jump dissipates energy, so each part of the path between jumps is checked separately.
    part = np.cumsum(table.after_jump)
    differences = [(U - work)[part == k] for k in np.unique(part)]
    largest = float(np.ptp(U))
    disagreement = max(float(np.ptp(values)) for values in differences) / largest if largest > 0 else 0.0
    if not disagreement <= _LARGEST_DISAGREEMENT:
        return None
    unloaded, snaps = unloaded_states(table, path), _snaps(table, path)
    return Energies(path.name, table.units[path.name], path.conjugate, unloaded, snaps, disagreement)


def unloaded_states(table: PathRecord, path: SingleLoad) -> tuple[UnloadedState, ...]:
    """Unloaded states in path order, without repetitions.

    A part without an unstable state between is in the same one, however often its load has passed zero.
    """
    modes = table[q.UNSTABLE_MODES.name]
    branch = np.cumsum(np.diff(modes > 0, prepend=modes[0] > 0) | table.after_jump)
    unloaded: list[UnloadedState] = []
    reach: list[float] = []
    branches = set()
    for row, fraction in path.crossings(0.0):
        state, energy, conjugate = path.between(row, fraction)
        count = int(modes[row] if fraction == 0.0 else modes[row : row + 2].max())
        # Between two states the work-conjugate is interpolated.
        step = abs(path.V[row + 1] - path.V[row]) if fraction else 0.0
        near = path.same + _INTERPOLATION * float(step)
        same = [
            s
            for s, far in zip(unloaded, reach, strict=True)
            if abs(s.conjugate - conjugate) < max(near, far) and (s.modes == 0) == (count == 0)
        ]
        if not same and not (count == 0 and branch[row] in branches):
            unloaded.append(UnloadedState(state, energy, conjugate, count))
            reach.append(near)
        if count == 0:
            branches.add(branch[row])
    return tuple(unloaded)


def _snaps(table: PathRecord, path: SingleLoad) -> tuple[Snap, ...]:
    snaps = []
    modes = table[q.UNSTABLE_MODES.name]
    kinds = np.array(table.critical or [""] * len(table))
    leaves = (kinds == "limit point") | [waves_of(kind) > 0 for kind in kinds]
    for row in range(len(table) - 1):
        if table.after_jump[row + 1]:
            snaps.append(_snap(path, row, (row + 1, 0.0)))
        elif leaves[row]:
            forward = modes[row] == 0
            if forward or modes[row + 1] == 0:  # else unstable on both sides
                snaps.append(_snap(path, row, _end(table, path, row, forward=bool(forward))))
    return tuple(snap for snap in snaps if snap is not None)


def _end(table: PathRecord, path: SingleLoad, row: int, *, forward: bool) -> tuple[int, float] | None:
    """The nearest stable state of the same load after the unstable part of the path."""
    modes = table[q.UNSTABLE_MODES.name]
    candidates = [
        (i, fraction)
        for i, fraction in path.crossings(float(path.P[row]))
        if (i > row + 1 if forward else i + 1 < row) and modes[i : i + 2].max() == 0
    ]
    if not candidates:
        return None
    return candidates[0] if forward else candidates[-1]


def _snap(path: SingleLoad, row: int, end: tuple[int, float] | None) -> Snap | None:
    if end is None:
        return None
    state, energy, conjugate = path.between(*end)
    load = float(path.P[row])
    released = load * (conjugate - path.V[row]) - (energy - path.U[row])
    return Snap(int(path.state[row]), load, state, float(released)) if released > 0 else None


def _with_keys(record: UnloadedState | Snap, keys: Mapping[str, str]) -> dict[str, float]:
    return {keys.get(key, key): value for key, value in record._asdict().items()}
