# SPDX-License-Identifier: MIT
"""Text on snaps: whether the part is bistable, and the energies of its unloaded states and snaps."""

import numpy as np

from annelid.results.folder.energies import Energies, UnloadedState, energies_of
from annelid.results.folder.run_record import RunRecord
from annelid.results.folder.tables import PathRecord
from annelid.solver.display import digits
from annelid.solver.model import quantities as q


def bistability_text(run: RunRecord) -> str:
    """Return the sentence on bistability; empty if the part does not snap under a single load."""
    return "" if run.bistability is None else run.bistability.sentence(run.table)


def rest_states(run: RunRecord) -> list[tuple[int, str]]:
    """Return the stored states nearest to the stable states without load, with captions.

    They are empty unless there are at least two.
    """
    found, files = run.bistability, run.field_files
    if found is None or len(found.rests) < 2 or not files:
        return []
    table = run.table
    loads = dict(zip(table["state"].astype(int).tolist(), table[found.load].tolist(), strict=True))
    stable = dict(zip(table["state"].astype(int).tolist(), (~table.unstable).tolist(), strict=True))
    stored = np.array([state for state in files if stable.get(state, False)])
    pictures = []
    for number, rest in enumerate(found.rests, start=1):
        near = [s for s in stored if abs(s - rest.state) <= 1.0]
        if not near:
            continue
        state = int(min(near, key=lambda s: abs(s - rest.state)))
        load = table.show(found.load, loads[state])
        words = (
            "without load" if loads[state] == 0.0 else f"the nearest computed state, at {found.load} {load}"
        )
        pictures.append((state, f"Rest shape {number} of {len(found.rests)}: state {state}, {words}."))
    return pictures


def energy_text(table: PathRecord) -> str:
    """Return sentences on the energies of unloaded states and on those that snaps release."""
    energies = energies_of(table)
    if energies is None:
        return ""
    sentences = []
    if len(energies.stable) > 1:
        sentences.append(f"Without load the part is stable in {len(energies.stable)} states of this path.")
        pairs = zip(energies.stable[:-1], energies.stable[1:], strict=True)
        sentences += [_difference(table, energies, *pair) for pair in pairs]
    for snap in energies.snaps:
        sentences.append(
            f"At a constant {energies.load} of {table.show(energies.load, snap.load)} the part snaps from "
            f"state {snap.state} to the stable state near state {round(snap.end)}. The snap releases "
            f"{_energy(table, snap.released)}."
        )
    if sentences:
        error = digits(100 * energies.disagreement, 2)
        sentences.append(f"The work of the load along the path and the energy agree within {error} %.")
    return " ".join(sentences)


def _energy(table: PathRecord, value: float) -> str:
    return table.show(q.STRAIN_ENERGY.name, value)


def _difference(table: PathRecord, energies: Energies, first: UnloadedState, second: UnloadedState) -> str:
    difference = _energy(table, second.energy - first.energy)
    text = f"The strain energy near state {round(second.state)} is {difference} above that near state "
    text += f"{round(first.state)}."
    barrier = energies.barrier(first, second)
    if barrier is None:
        return text
    above_first, above_second = (_energy(table, barrier.energy - s.energy) for s in (first, second))
    text += " The energy barrier between them, the unstable unloaded state of lowest energy on this path, is"
    return f"{text} {above_second} above the former and {above_first} above the latter."
