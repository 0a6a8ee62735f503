# SPDX-License-Identifier: MIT
"""Whether a part is bistable, decided from the computed states of a path of a single load."""

from dataclasses import dataclass
from typing import Literal, NamedTuple

import numpy as np
from numpy.typing import NDArray

from annelid.results.folder.energies import (
    Energies,
    UnloadedState,
    energies_of,
    unloaded_states,
)
from annelid.results.folder.single_load import SingleLoad, single_load
from annelid.results.folder.stable_branches import branch_of, other_branches, stable_branches
from annelid.results.folder.tables import PathRecord
from annelid.solver.model import quantities as q
from annelid.solver.model.harmonic_words import waves_of
from annelid.solver.records import Measure

_NUMBERS = {2: "two", 3: "three", 4: "four", 5: "five"}
_BY_LOAD = {
    "pressure": (q.OPENING_PRESSURE, q.CLOSING_PRESSURE),
    "axial force": (q.OPENING_FORCE, q.CLOSING_FORCE),
    "voltage": (q.OPENING_VOLTAGE, q.CLOSING_VOLTAGE),
}
_ENERGIES = (
    (q.OPENING_SNAP_ENERGY, q.OPENING_BARRIER),
    (q.CLOSING_SNAP_ENERGY, q.CLOSING_BARRIER),
)


class Exit(NamedTuple):
    """An end of a stable branch, where the part leaves it.

    Attributes:
        state: Number of the critical state, or of the last one before a jump.
        load: Load there, in its internal unit.
        rising: Whether the load increases towards it along the branch.
        kind: ``"limit point"``, ``"bifurcation"``, what the part does with waves around its axis, ``"jump"``
            without a located point, or "" if the point was not located.
    """

    state: int
    load: float
    rising: bool
    kind: str


@dataclass(frozen=True)
class Bistability:
    """How a part behaves without load, as far as its path shows.

    Attributes:
        kind: ``"bistable"`` (two stable unloaded states or more), ``"not bistable"`` or ``"not known"``.
        reason: Why it is not known, else "".
        load: Name of the load.
        rests: Stable unloaded states in path order.
        opening: Where the part leaves its first stable branch.
        closing: Where it leaves, as the load goes back, the branch of the next unloaded state, else that on
            which the first snap ends; ``None`` if that is not on the path.
        energies: Energies of the path, if the load alone did work.
    """

    kind: Literal["bistable", "not bistable", "not known"]
    reason: str
    load: str
    rests: tuple[UnloadedState, ...]
    opening: Exit
    closing: Exit | None
    energies: Energies | None

    def quantities(self) -> dict[str, float]:
        """Return the quantities of the path by name; ``nan`` for those that it does not contain."""
        known = self.kind != "not known"
        values = {q.STABLE_STATES.name: float(len(self.rests)) if known else np.nan}
        for exit_, load in zip((self.opening, self.closing), quantities_of_load(self.load), strict=True):
            values[load] = exit_.load if exit_ is not None else np.nan
        sides = zip((self.opening, self.closing), self._barriers(), _ENERGIES, strict=True)
        for exit_, barrier, (released, height) in sides:
            values |= {released.name: self._released(exit_), height.name: barrier}
        return values

    def _released(self, exit_: Exit | None) -> float:
        if exit_ is None or self.energies is None:
            return np.nan
        return next((s.released for s in self.energies.snaps if s.state == exit_.state), np.nan)

    def _barriers(self) -> tuple[float, float]:
        if self.energies is None or len(self.rests) < 2:
            return np.nan, np.nan
        first, second = self.rests[:2]
        top = self.energies.barrier(first, second)
        return (np.nan, np.nan) if top is None else (top.energy - first.energy, top.energy - second.energy)

    def sentence(self, table: PathRecord) -> str:
        """Return the answer in a sentence, in the units of the table."""
        opening = table.show(self.load, self.opening.load)
        closing = "" if self.closing is None else table.show(self.load, self.closing.load)
        if self.kind == "not known":
            return f"Whether the part is bistable is not known, because {self.reason}."
        if self.kind == "not bistable":
            return (
                f"Not bistable: the part snaps at {opening}, but it returns by itself at {closing}, before "
                f"the load ({self.load}) is gone. One stable state without load was found on this path."
            )
        count = _NUMBERS.get(len(self.rests), str(len(self.rests)))
        word = "Bistable" if len(self.rests) == 2 else "Multistable"
        back = (
            f"closes at {closing} ({self.load})" if closing else f"({self.load}); this path does not close it"
        )
        joint = " and " if closing else " "
        return (
            f"{word}: {count} stable states without load were found on this path; the part opens at "
            f"{opening}{joint}{back}{self._energy_text(table)}."
        )

    def _energy_text(self, table: PathRecord) -> str:
        values = self.quantities()
        names = (q.OPENING_BARRIER.name, q.CLOSING_BARRIER.name)
        if not all(np.isfinite(values[name]) for name in names):
            return ""
        opening, closing = (table.show(name, values[name]) for name in names)
        return f"; the energy barrier is {opening} on the way out and {closing} on the way back"

    def to_mapping(self, table: PathRecord) -> dict[str, str]:
        """Return the entry of ``summary.json``."""
        return {"kind": self.kind, "text": self.sentence(table)}


def quantities_of_load(load: str) -> tuple[str, str]:
    """Names of the opening and closing load."""
    opening, closing = next(pair for start, pair in _BY_LOAD.items() if load.startswith(start))
    return opening.name, closing.name


def path_measures(table: PathRecord) -> dict[str, Measure]:
    """Quantities of a whole path by name, with their units.

    A path on which the part never becomes unstable contains only the number of its stable unloaded states.
    """
    found = bistability_of(table)
    path = single_load(table)
    if found is not None:
        values = found.quantities()
    elif path is not None:
        states = unloaded_states(table, path)
        values = {q.STABLE_STATES.name: float(len(states)) if states else np.nan}
    else:
        values = {}
    return {name: Measure(value, q.quantity_of(name).unit) for name, value in values.items()}


def bistability_of(table: PathRecord) -> Bistability | None:
    """Decide whether a part is bistable.

    Returns:
        The answer; ``None`` if several loads act or the part never loses its stability.
    """
    path = single_load(table)
    if path is None:
        return None
    branches = stable_branches(table)
    opening = _exit_at_end(table, path, branches[0]) if branches else None
    if opening is None:
        return None
    others = other_branches(path, branches)
    rests = tuple(s for s in unloaded_states(table, path) if s.modes == 0)
    energies = energies_of(table)
    closings = [_closing(table, path, branch, opening) for branch in others]
    kind, reason = _decide(rests, opening, closings)
    ends = [s.end for s in energies.snaps if s.state == opening.state] if energies is not None else []
    chosen = branch_of(path, others, [*(s.state for s in rests[1:]), *ends])
    closing = None if chosen is None else closings[chosen]
    return Bistability(kind, reason, path.name, rests, opening, closing, energies)


def _decide(
    rests: tuple[UnloadedState, ...], opening: Exit, closings: list[Exit | None]
) -> tuple[Literal["bistable", "not bistable", "not known"], str]:
    if len(rests) > 1:
        return "bistable", ""
    if not rests:
        return "not known", "the path contains no stable state without load"
    if _branches_off(opening):
        return "not known", "the part buckles at a bifurcation, and the path does not contain every branch"
    if not closings:
        return "not known", "the path ends before the part has another stable state"
    if all(c is not None and c.load * opening.load > 0 and not _branches_off(c) for c in closings):
        return "not bistable", ""
    return "not known", "the path did not return to zero load after the snap"


def _branches_off(point: Exit) -> bool:
    """Whether another path branches off, which the path at hand does not follow."""
    return point.kind == "bifurcation" or waves_of(point.kind) > 0


def _exit_at_end(table: PathRecord, path: SingleLoad, branch: NDArray[np.int64]) -> Exit | None:
    """Where the path leaves a branch; ``None`` if it ends there without losing its stability."""
    row = int(branch[-1])
    kind = table.critical[row] if table.is_critical[row] else ""
    if row + 1 == len(table) and not kind:
        return None
    if not kind and table.after_jump[row + 1]:
        kind = "jump"
    return Exit(int(path.state[row]), float(path.P[row]), _rises(path, branch[-2:]), kind)


def _exit_at_start(table: PathRecord, path: SingleLoad, branch: NDArray[np.int64]) -> Exit | None:
    """Where the part would leave a branch if the path were followed backwards."""
    row = int(branch[0]) - 1
    if row < 0 or table.after_jump[row + 1]:
        return None
    kind = table.critical[row] if table.is_critical[row] else ""
    return Exit(int(path.state[row]), float(path.P[row]), _rises(path, branch[:1] - (0, 1)), kind)


def _rises(path: SingleLoad, rows: NDArray[np.int64]) -> bool:
    return len(rows) > 1 and bool(path.P[rows[1]] > path.P[rows[0]])


def _closing(table: PathRecord, path: SingleLoad, branch: NDArray[np.int64], opening: Exit) -> Exit | None:
    """The exit of the next stable branch that is approached as the load goes back."""
    exits = (_exit_at_start(table, path, branch), _exit_at_end(table, path, branch))
    return next((e for e in exits if e is not None and e.rising != opening.rising), None)
