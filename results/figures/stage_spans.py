# SPDX-License-Identifier: MIT
"""The stages of a path in which a load changes, and the load that changes most."""

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from annelid.results.folder.tables import PathRecord
from annelid.solver.model import quantities as q


class StageSpan(NamedTuple):
    """The rows of a stage, including its initial state, and the load that changes most in it."""

    stage: str
    rows: NDArray[np.int64]
    load: str


def stage_spans(table: PathRecord) -> list[StageSpan]:
    """Return the stages in which a load changes, each with the load whose relative change is largest.

    Of loads with equal changes one that increases is taken: where a voltage moves on from ring to ring, that
    of the next ring.
    """
    spans = []
    stages = np.array(table.stages)
    for stage in dict.fromkeys(table.stages):
        rows = np.flatnonzero(stages == stage)
        rows = np.concatenate([rows[:1] - 1, rows]) if rows[0] > 0 else rows
        changes = {}
        for name in table.loads:
            values = np.nan_to_num(table[name])
            scale = np.abs(values).max()
            change = np.ptp(values[rows]) / scale if scale > 0 else 0.0
            changes[name] = (change, abs(values[rows[-1]]) > abs(values[rows[0]]))
        load = max(changes, key=lambda name: changes[name], default=None)
        if load is not None and changes[load][0] > 0 and len(rows) > 1:
            spans.append(StageSpan(stage, rows, load))
    return spans


def takes_time(table: PathRecord, span: StageSpan) -> bool:
    """Whether the loads of a stage change in time."""
    return q.TIME.name in table.columns and bool(np.ptp(table[q.TIME.name][span.rows]) > 0)
