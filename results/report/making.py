# SPDX-License-Identifier: MIT
"""The making of a lattice part in a report: as printed, released and energised, in a table and in words."""

from collections.abc import Sequence
from typing import Any

import numpy as np

from annelid.results.folder.run_record import RunRecord
from annelid.results.folder.tables import PathTable
from annelid.solver.display import digits
from annelid.solver.model import quantities as q

_ALIKE = 1e-9  # of the largest voltage
_WHOLE = (q.LENGTH.name, q.LARGEST_DIAMETER.name)
_OF_PARTS = (q.MEAN_HOOP_STRESS_OF, q.MEAN_AXIAL_STRESS_OF, q.STRAIN_ENERGY_OF, q.PEAK_STRESS_OF)
_UNDER_VOLTAGE = (
    q.AXIAL_STROKE.name,
    q.RADIAL_STROKE.name,
    q.AXIAL_AMPLIFICATION.name,
    q.RADIAL_AMPLIFICATION.name,
    q.BREAKDOWN_MARGIN.name,
)
_WORK = (*_UNDER_VOLTAGE, q.UNSTABLE_MODES.name)


def making(run: RunRecord) -> dict[str, Any]:
    """Return the text on the making: ``columns``, ``rows`` and ``paragraphs``.

    All are empty for a case without a making.
    """
    table = run.table
    skin = run.description.skin
    if not skin:
        return {"columns": [], "rows": [], "paragraphs": []}
    ends = stage_ends(table)
    at = [0, *ends.values()]
    names = [name for name in (*table.loads, *_WHOLE, *_parts(table), *_WORK) if name in table.columns]
    voltage = _voltage(table)
    rows = [(name, [_shown(table, name, i, voltage[i]) for i in at]) for name in names]
    paragraphs = [_release(table, skin), _strokes(table), _repeats(table), _buckled(table)]
    return {
        "columns": ["as printed", *ends],
        "rows": rows,
        "paragraphs": [words for words in paragraphs if words],
    }


def stage_ends(table: PathTable) -> dict[str, int]:
    """Last row of each stage, in their order."""
    return {stage: i for i, stage in enumerate(table.stages)}


def _shown(table: PathTable, name: str, row: int, voltage: float) -> str:
    """A value with its unit; empty for strokes and margins of a state without voltage."""
    value = float(table[name][row])
    left_out = not voltage and name in _UNDER_VOLTAGE
    return "" if left_out or np.isnan(value) else table.show(name, value)


def _parts(table: PathTable) -> list[str]:
    return [name for family in _OF_PARTS for name in table.quantities if name.startswith(family.stem)]


def _released(table: PathTable) -> int | None:
    """First row without loads after one with pressure."""
    rest = np.all([np.abs(table[load]) < 1e-12 for load in table.loads], axis=0)
    rows = np.flatnonzero(rest)
    return int(rows[0]) if len(rows) and rows[0] > 0 else None


def _release(table: PathTable, skin: Sequence[str]) -> str:
    row = _released(table)
    if row is None:
        return ""
    change = {name: table[name][row] / table[name][0] - 1 for name in _WHOLE}
    words = [
        f"Released, the part is {_change(change['length'], 'longer', 'shorter')} and "
        f"{_change(change['largest diameter'], 'wider', 'narrower')} than as printed."
    ]
    for layer in skin:
        families = {q.MEAN_HOOP_STRESS_OF.of(layer): "around", q.MEAN_AXIAL_STRESS_OF.of(layer): "along"}
        if any(name not in table.columns for name in families):
            continue
        left = [
            f"{table.show(name, float(table[name][row]))} of {table.show(name, float(table[name][0]))} "
            f"{where}"
            for name, where in families.items()
        ]
        words.append(f"The tension left in {layer} is {' and '.join(left)} (mean true stress).")
    stem = q.STRAIN_ENERGY_OF.stem
    stored = [
        f"{table.show(name, float(table[name][row]))} in {name.removeprefix(stem)}"
        for name in table.quantities
        if name.startswith(stem)
    ]
    if stored:
        total = table.show(q.STRAIN_ENERGY.name, float(table[q.STRAIN_ENERGY.name][0]))
        words.append(f"Of the {total} stored as printed it keeps {', '.join(stored)}.")
    return " ".join(words)


def _change(value: float, more: str, less: str) -> str:
    return f"{digits(100 * abs(value), 3)} % {more if value > 0 else less}"


def _voltage(table: PathTable) -> np.ndarray:
    volts = [np.abs(table[load]) for load in table.loads if load.startswith("voltage")]
    return np.max(volts, axis=0) if volts else np.zeros(len(table))


def _strokes(table: PathTable) -> str:
    voltage = _voltage(table)
    if not voltage.any() or q.AXIAL_STROKE.name not in table.columns:
        return ""
    row = int(np.argmax(voltage))
    along, around = (float(table[name][row]) for name in (q.AXIAL_STROKE.name, q.RADIAL_STROKE.name))
    words = (
        f"Under {table.display.show('voltage', float(voltage[row]))} it becomes "
        f"{_change(along, 'longer', 'shorter')} and {_change(around, 'wider', 'narrower')}"
    )
    if q.AXIAL_AMPLIFICATION.name not in table.columns:
        return f"{words}."
    names = (q.AXIAL_AMPLIFICATION.name, q.RADIAL_AMPLIFICATION.name)
    gains = [float(table[name][row]) for name in names]
    if not np.all(np.isfinite(gains)):
        return (
            f"{words}; the bare skin, unstretched and without its lattice, does not withstand that voltage."
        )
    times = " and ".join(f"{digits(gain, 3)} times" for gain in gains)
    return f"{words}: {times} the strokes of the bare skin, unstretched and without its lattice."


def _repeats(table: PathTable) -> str:
    """How well the stroke repeats in cycles of one and the same voltage."""
    voltage = _voltage(table)
    tops = [i for i in stage_ends(table).values() if voltage[i] > (1 - _ALIKE) * voltage.max(initial=0.0) > 0]
    if len(tops) < 2:
        return ""
    strokes = table[q.AXIAL_STROKE.name][tops]
    spread = float(np.ptp(strokes) / np.abs(strokes).max())
    how = "to solver tolerance" if spread < 1e-6 else f"within {digits(100 * spread, 2)} %"
    return f"The stroke repeats in {len(tops)} cycles {how}, because the materials are elastic."


def _buckled(table: PathTable) -> str:
    most = int(table[q.UNSTABLE_MODES.name].max())
    if not most:
        if any(table.critical):
            return "Struts or skin buckle: the pictures of the modes show which."
        return "No strut buckles: no state has an unstable mode."
    first = table.stages[int(np.flatnonzero(table[q.UNSTABLE_MODES.name])[0])]
    return (
        f"Struts or skin buckle: up to {most} unstable {'mode is' if most == 1 else 'modes are'} counted, "
        f"first in stage {first}; the pictures of the modes show which."
    )
