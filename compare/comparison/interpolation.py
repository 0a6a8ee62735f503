# SPDX-License-Identifier: MIT
"""The error of interpolating between two states of a path."""

from collections.abc import Sequence
from itertools import pairwise

import numpy as np

from annelid.compare.alignment.nominal import state_displacement
from annelid.geometry.body import IntArray
from annelid.results.folder.run_record import RunRecord

_REAL = 1e-9


def interpolation_error(
    run: RunRecord, chain: IntArray, loads: Sequence[str], *, first: int, share: float
) -> float | None:
    """Return the largest distance between linear and quadratic interpolation, mm; None if it is not known.

    Parabolas over the length of the path go through the two states and the one before or behind them. The
    loads are on such a parabola, too, so this also holds near a maximum of a load.

    Args:
        run: The run.
        chain: Rows of two to four successive states of one path.
        loads: Names of the loads whose values were interpolated.
        first: Position in it of the first of the two states.
        share: Share of the second one.
    """
    states = [int(state) for state in run.table["state"][chain]]
    shapes = [state_displacement(run, {state: 1.0}) for state in states]
    columns = [run.table[name][chain] / np.abs(run.table[name][chain]).max() for name in loads]
    values = np.column_stack([column for column in columns if np.ptp(column) > 0])
    second = first + 1
    straight = (1.0 - share) * shapes[first] + share * shapes[second]
    way = values[second] - values[first]
    progress = (values - values[first]) @ way / (way @ way)
    steps = [float(np.linalg.norm(b - a)) for a, b in pairwise(shapes)]
    length = np.cumsum([0.0, *steps])
    errors = []
    for start in range(len(chain) - 2):
        three = slice(start, start + 3)
        if min(steps[start : start + 2]) == 0.0:
            continue
        s = length[three]
        parabola = np.polyfit(s, progress[three], 2)
        guess = length[first] + share * (length[second] - length[first])
        roots = np.roots(parabola - np.array([0.0, 0.0, share]))
        real = np.real(roots[np.abs(np.imag(roots)) < _REAL * length[-1]])
        there = float(min(real, key=lambda x: abs(x - guess), default=guess))
        weights = [np.prod([(there - b) / (a - b) for b in s if b != a]) for a in s]
        curved = sum(w * shape for w, shape in zip(weights, shapes[three], strict=True))
        errors.append(float(np.linalg.norm(curved - straight, axis=1).max()))
    return max(errors, default=None)
