# SPDX-License-Identifier: MIT
"""Section of a report on the making of a lattice part: as cast, as printed, released and energised."""

from collections.abc import Sequence
from typing import Any

import numpy as np

from annelid.results.folder.run_record import RunRecord
from annelid.results.folder.state_words import AS_CAST, AS_PRINTED, largest_voltage, state_word
from annelid.results.folder.tables import PathRecord
from annelid.solver.display import ROUNDING, counted, digits
from annelid.solver.model import quantities as q

_SAME_VOLTAGE = 1e-9  # of the largest voltage
_DIMENSIONS = (q.LENGTH.name, q.LARGEST_DIAMETER.name)
_PART_QUANTITIES = (q.MEAN_HOOP_STRESS_OF, q.MEAN_AXIAL_STRESS_OF, q.STRAIN_ENERGY_OF, q.PEAK_STRESS_OF)
_UNDER_VOLTAGE = (
    q.AXIAL_STROKE.name,
    q.RADIAL_STROKE.name,
    q.AXIAL_AMPLIFICATION.name,
    q.RADIAL_AMPLIFICATION.name,
    q.BREAKDOWN_MARGIN.name,
)
_ACTUATION = (*_UNDER_VOLTAGE, q.UNSTABLE_MODES.name)


def making(run: RunRecord) -> dict[str, Any]:
    """Return the content of the section: ``columns``, ``rows`` and ``paragraphs``.

    All are empty for a case without a making.
    """
    table = run.table
    skin = run.description.skin
    if not skin:
        return {"columns": [], "rows": [], "paragraphs": []}
    ends = table.stage_ends
    states = [0, *ends.values()]
    names = [
        name
        for name in (*table.loads, *_DIMENSIONS, *_part_quantities(table), *_ACTUATION)
        if name in table.columns
    ]
    voltage, cast = largest_voltage(table), run.inflation
    before = [] if cast is None else [cast]
    rows = [
        (
            name,
            *(_cast_cell(path, name) for path in before),
            *(_cell(table, name, i, voltage[i]) for i in states),
        )
        for name in names
    ]
    paragraphs = [
        *map(inflation_text, before),
        _release(table, skin),
        _strokes(table),
        _repeatability(table),
        _buckling(table),
    ]
    return {
        "columns": [
            *[AS_CAST] * len(before),
            AS_PRINTED,
            *(f"{state_word(run, row)} ({stage})" for stage, row in ends.items()),
        ],
        "rows": rows,
        "paragraphs": [text for text in paragraphs if text],
    }


def _cast_cell(cast: PathRecord, name: str) -> str:
    """A value of the bare skin without pressure; empty for what its inflation does not have."""
    return _cell(cast, name, 0, 0.0) if name in cast.columns else ""


def inflation_text(cast: PathRecord) -> str:
    """How far the skin is inflated, the energy it stores, and the largest pressure on the way."""
    P = cast["pressure"]

    def at(name: str, row: int) -> str:
        return cast.show(name, float(cast[name][row]))

    volume, stretch = q.LUMEN_VOLUME.name, digits(float(cast[q.MEAN_HOOP_STRETCH][-1]), 4)
    text = (
        f"The skin is inflated from an enclosed volume of {at(volume, 0)} as cast to {at(volume, -1)} at "
        f"{at('pressure', -1)}; its mean hoop stretch at the widest place is {stretch}. It then stores the "
        f"work of the pressure, {at(q.STRAIN_ENERGY.name, -1)}."
    )
    highest = int(np.argmax(P))
    if highest < len(P) - 1:
        text += (
            f" The largest pressure, {at('pressure', highest)}, is passed at {at(volume, highest)}: beyond "
            "it the skin grows while the pressure falls, so the volume must be metered."
        )
    return text


def _cell(table: PathRecord, name: str, row: int, voltage: float) -> str:
    """A value with its unit; empty for strokes and margins in a state without voltage."""
    value = float(table[name][row])
    undefined = not voltage and name in _UNDER_VOLTAGE
    return "" if undefined or np.isnan(value) else table.show(name, value)


def _part_quantities(table: PathRecord) -> list[str]:
    return [name for family in _PART_QUANTITIES for name in table.quantities if name.startswith(family.stem)]


def _released_row(table: PathRecord) -> int | None:
    """First row without loads, if it is not the first of the path."""
    unloaded = np.all([np.abs(table[load]) < ROUNDING for load in table.loads], axis=0)
    rows = np.flatnonzero(unloaded)
    return int(rows[0]) if len(rows) and rows[0] > 0 else None


def _release(table: PathRecord, skin: Sequence[str]) -> str:
    row = _released_row(table)
    if row is None:
        return ""
    change = {name: table[name][row] / table[name][0] - 1 for name in _DIMENSIONS}
    sentences = [
        f"After its release the part is {_change(change[q.LENGTH.name], 'longer', 'shorter')} and "
        f"{_change(change[q.LARGEST_DIAMETER.name], 'wider', 'narrower')} than as printed."
    ]
    for layer in skin:
        directions = {
            q.MEAN_HOOP_STRESS_OF.of(layer): "in the hoop direction",
            q.MEAN_AXIAL_STRESS_OF.of(layer): "in the axial direction",
        }
        if any(name not in table.columns for name in directions):
            continue
        changes = [
            f"from {table.show(name, float(table[name][0]))} to {table.show(name, float(table[name][row]))} "
            f"{direction}"
            for name, direction in directions.items()
        ]
        sentences.append(f"The mean true stress in {layer} changes {' and '.join(changes)}.")
    stem = q.STRAIN_ENERGY_OF.stem
    stored = [
        f"{table.show(name, float(table[name][row]))} in {name.removeprefix(stem)}"
        for name in table.quantities
        if name.startswith(stem)
    ]
    if stored:
        total = table.show(q.STRAIN_ENERGY.name, float(table[q.STRAIN_ENERGY.name][0]))
        sentences.append(
            f"The strain energy is {total} as printed; after the release it is {' and '.join(stored)}."
        )
    return " ".join(sentences)


def _change(value: float, more: str, less: str) -> str:
    return f"{digits(100 * abs(value), 3)} % {more if value > 0 else less}"


def _strokes(table: PathRecord) -> str:
    voltage = largest_voltage(table)
    if not voltage.any() or q.AXIAL_STROKE.name not in table.columns:
        return ""
    row = int(np.argmax(voltage))
    axial, radial = (float(table[name][row]) for name in (q.AXIAL_STROKE.name, q.RADIAL_STROKE.name))
    text = (
        f"At {table.display.show('voltage', float(voltage[row]))} the part becomes "
        f"{_change(axial, 'longer', 'shorter')} and {_change(radial, 'wider', 'narrower')}"
    )
    if q.AXIAL_AMPLIFICATION.name not in table.columns:
        return f"{text}."
    names = (q.AXIAL_AMPLIFICATION.name, q.RADIAL_AMPLIFICATION.name)
    gains = [float(table[name][row]) for name in names]
    if not np.all(np.isfinite(gains)):
        return f"{text}; the bare skin, unstretched and without lattice, does not withstand this voltage."
    factors = " and ".join(f"{digits(gain, 3)} times" for gain in gains)
    return f"{text}. These are {factors} the strokes of the bare skin, unstretched and without lattice."


def _repeatability(table: PathRecord) -> str:
    """How well the stroke repeats in cycles to the same voltage."""
    voltage = largest_voltage(table)
    peaks = [
        i
        for i in table.stage_ends.values()
        if voltage[i] > (1 - _SAME_VOLTAGE) * voltage.max(initial=0.0) > 0
    ]
    if len(peaks) < 2:
        return ""
    strokes = table[q.AXIAL_STROKE.name][peaks]
    spread = float(np.ptp(strokes) / np.abs(strokes).max())
    accuracy = "the tolerance of the solver" if spread < 1e-6 else f"{digits(100 * spread, 2)} %"
    return f"The axial strokes of the {len(peaks)} cycles agree within {accuracy}; all materials are elastic."


def _buckling(table: PathRecord) -> str:
    most = int(table[q.UNSTABLE_MODES.name].max())
    if not most:
        if any(table.critical):
            return "Struts or skin buckle; the pictures of the modes show where."
        return "No strut buckles; no state has an unstable mode."
    verb = "is" if most == 1 else "are"
    first = table.stages[int(np.flatnonzero(table[q.UNSTABLE_MODES.name])[0])]
    return (
        f"Struts or skin buckle, first in stage “{first}”; "
        f"there {verb} up to {counted(most, 'unstable mode')}. "
        "The pictures of the modes show where."
    )
