# SPDX-License-Identifier: MIT
"""The stable parts of a path of a single load."""

import numpy as np
from numpy.typing import NDArray

from annelid.results.folder.single_load import SingleLoad
from annelid.results.folder.tables import PathRecord


def stable_branches(table: PathRecord) -> list[NDArray[np.int64]]:
    """Return the rows of each stable part of the path between losses of stability and jumps."""
    stable = ~table.unstable
    breaks = np.flatnonzero((stable[1:] != stable[:-1]) | table.after_jump[1:]) + 1
    return [part for part in np.split(np.arange(len(table)), breaks) if stable[part[0]]]


def other_branches(path: SingleLoad, branches: list[NDArray[np.int64]]) -> list[NDArray[np.int64]]:
    """Return the branches after the first, without those on which the path is back on the first one.

    It is if it left the branch through the same critical point, or reached the same unloaded state.
    """
    V, near = path.V, path.same
    unloaded = {row: path.between(row, fraction)[2] for row, fraction in path.crossings(0.0)}
    first = [conjugate for row, conjugate in unloaded.items() if row in branches[0]]

    def is_first(branch: NDArray[np.int64]) -> bool:
        row = int(branch[0])
        turned = not path.after_jump[row] and abs(V[row - 1] - V[branches[0][-1]]) < near
        here = [conjugate for row, conjugate in unloaded.items() if row in branch]
        return turned or any(abs(a - b) < near for a in first for b in here)

    return [branch for branch in branches[1:] if not is_first(branch)]


def branch_of(path: SingleLoad, branches: list[NDArray[np.int64]], states: list[float]) -> int | None:
    """Return the index of the branch that contains the first of the states, else of the first branch."""
    for state in states[:1]:
        for index, branch in enumerate(branches):
            if path.state[branch[0]] - 1 <= state <= path.state[branch[-1]] + 1:
                return index
    return 0 if branches else None
