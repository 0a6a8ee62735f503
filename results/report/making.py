# SPDX-License-Identifier: MIT
"""The making of a lattice part in a report: as printed, released and energised, side by side and in words."""

from typing import Any

import numpy as np

from annelid.results.display_units import digits, show
from annelid.results.folder.run_record import RunRecord
from annelid.results.folder.tables import PathTable

_ALIKE = 1e-9  # of the largest voltage
_WHOLE = ("length", "largest diameter")
_OF_PARTS = ("mean hoop stress", "mean axial stress", "strain energy", "peak stress of")
_LIVE = ("axial stroke", "radial stroke", "axial amplification", "radial amplification", "breakdown margin")
_WORK = (*_LIVE, "unstable modes")


def making(run: RunRecord) -> dict[str, Any]:
    """Return what the report says of the making: ``columns``, ``rows`` and ``paragraphs``.

    All are empty for a case without a making.
    """
    table = run.table
    if "making" not in run.case:
        return {"columns": [], "rows": [], "paragraphs": []}
    ends = stage_ends(table)
    at = [0, *ends.values()]
    skin = [layer["name"] for layer in run.case["shape"]["layers"]]
    names = [name for name in (*table.loads, *_WHOLE, *_parts(table), *_WORK) if name in table.columns]
    voltage = _voltage(table)
    rows = [(name, [_told(table, name, i, live=bool(voltage[i])) for i in at]) for name in names]
    said = [_release(table, skin), _strokes(table), _repeats(table), _buckled(table)]
    return {
        "columns": ["as printed", *ends],
        "rows": rows,
        "paragraphs": [words for words in said if words],
    }


def stage_ends(table: PathTable) -> dict[str, int]:
    """Last row of each stage, in their order."""
    return {stage: i for i, stage in enumerate(table.stages)}


def _told(table: PathTable, name: str, row: int, *, live: bool) -> str:
    """A value in words; none for strokes and margins of a state without voltage."""
    value = float(table[name][row])
    silent = not live and name in _LIVE
    return "" if silent or np.isnan(value) else show(name, value, table.units[name])


def _parts(table: PathTable) -> list[str]:
    return [name for stem in _OF_PARTS for name in table.quantities if name.startswith(f"{stem} ")]


def _released(table: PathTable) -> int | None:
    """First row without pressure and voltage behind one with pressure."""
    rest = np.all([np.abs(table[load]) < 1e-12 for load in table.loads], axis=0)
    rows = np.flatnonzero(rest)
    return int(rows[0]) if len(rows) and rows[0] > 0 else None


def _release(table: PathTable, skin: list[str]) -> str:
    row = _released(table)
    if row is None:
        return ""
    change = {name: table[name][row] / table[name][0] - 1 for name in _WHOLE}
    words = [
        f"Released, the part is {_change(change['length'], 'longer', 'shorter')} and "
        f"{_change(change['largest diameter'], 'wider', 'narrower')} than as printed."
    ]
    for layer in skin:
        if f"mean hoop stress {layer}" not in table.columns:
            continue
        left = [
            f"{show('stress', float(table[f'mean {way} stress {layer}'][row]), 'MPa')} of "
            f"{show('stress', float(table[f'mean {way} stress {layer}'][0]), 'MPa')} {where}"
            for way, where in (("hoop", "around"), ("axial", "along"))
        ]
        words.append(f"The tension left in {layer} is {' and '.join(left)} (mean true stress).")
    stored = [
        f"{show('strain energy', float(table[name][row]), 'mJ')} in {name.removeprefix('strain energy ')}"
        for name in table.quantities
        if name.startswith("strain energy ")
    ]
    if stored:
        total = show("strain energy", float(table["strain energy"][0]), "mJ")
        words.append(f"Of the {total} stored as printed it keeps {', '.join(stored)}.")
    return " ".join(words)


def _change(value: float, more: str, less: str) -> str:
    return f"{digits(100 * abs(value), 3)} % {more if value > 0 else less}"


def _voltage(table: PathTable) -> np.ndarray:
    volts = [np.abs(table[load]) for load in table.loads if load.startswith("voltage")]
    return np.max(volts, axis=0) if volts else np.zeros(len(table))


def _strokes(table: PathTable) -> str:
    voltage = _voltage(table)
    if not voltage.any() or "axial stroke" not in table.columns:
        return ""
    row = int(np.argmax(voltage))
    along, around = (float(table[f"{way} stroke"][row]) for way in ("axial", "radial"))
    words = (
        f"Under {show('voltage', float(voltage[row]), 'kV')} it grows {_change(along, 'longer', 'shorter')} "
        f"and {_change(around, 'wider', 'narrower')}"
    )
    if "axial amplification" not in table.columns:
        return f"{words}."
    gains = [float(table[f"{way} amplification"][row]) for way in ("axial", "radial")]
    if not np.all(np.isfinite(gains)):
        return f"{words}; the bare skin, unstretched and without its lattice, does not bear that voltage."
    told = " and ".join(f"{digits(gain, 3)} times" for gain in gains)
    return f"{words}: {told} the strokes of the bare skin, unstretched and without its lattice."


def _repeats(table: PathTable) -> str:
    """How well the stroke repeats in cycles of one and the same voltage."""
    voltage = _voltage(table)
    tops = [i for i in stage_ends(table).values() if voltage[i] > (1 - _ALIKE) * voltage.max(initial=0.0) > 0]
    if len(tops) < 2:
        return ""
    strokes = table["axial stroke"][tops]
    spread = float(np.ptp(strokes) / np.abs(strokes).max())
    told = "to all digits solved for" if spread < 1e-6 else f"within {digits(100 * spread, 2)} %"
    return f"The stroke repeats in {len(tops)} cycles {told}: the materials here are elastic."


def _buckled(table: PathTable) -> str:
    most = int(table["unstable modes"].max())
    if not most:
        if any(table.critical):
            return "Struts or skin buckle: the pictures of the modes tell which."
        return "No strut buckles: no state has an unstable mode."
    first = table.stages[int(np.flatnonzero(table["unstable modes"])[0])]
    return (
        f"Struts or skin buckle: up to {most} unstable {'mode is' if most == 1 else 'modes are'} counted, "
        f"first in stage {first}; the pictures of the modes tell which."
    )
