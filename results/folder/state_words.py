# SPDX-License-Identifier: MIT
"""What a maker calls a state of a run: as cast, as printed, released, energised."""

import numpy as np

from annelid.results.folder.run_record import RunRecord
from annelid.results.folder.tables import PathRecord
from annelid.solver.display import ROUNDING

__all__ = ["AS_CAST", "AS_PRINTED", "largest_voltage", "reference_word", "state_word"]

AS_CAST, AS_PRINTED = "as cast", "as printed"


def state_word(run: RunRecord, row: int) -> str:
    """Return the word for the state in a row of the path; other states are loaded or without load."""
    table = run.table
    if largest_voltage(table)[row]:
        return "energised"
    if run.description.skin and row == 0:
        return AS_PRINTED
    if any(abs(table[load][row]) >= ROUNDING for load in table.loads):
        return "loaded"
    return "released" if run.description.skin else "without load"


def reference_word(run: RunRecord) -> str:
    """Return the word for the reference shape: a part with a making is drawn as it is printed."""
    return AS_PRINTED if run.description.skin else "as drawn"


def largest_voltage(table: PathRecord) -> np.ndarray:
    """Return the largest voltage of an electrode in each row, kV."""
    volts = [np.abs(table[load]) for load in table.loads_of("voltage").values()]
    return np.max(volts, axis=0) if volts else np.zeros(len(table))
