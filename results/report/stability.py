# SPDX-License-Identifier: MIT
"""Stability in plain words: critical points, controls, jumps, and walls in compression."""

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from annelid.results.figures.path_figures import driven_stages
from annelid.results.folder.critical_points import CriticalPoint, load_ratios
from annelid.results.folder.energies import Energies, Rest, energies_of
from annelid.results.folder.records import Verdict
from annelid.results.folder.run_record import RunRecord
from annelid.results.folder.tables import PathTable
from annelid.solver.display import digits
from annelid.solver.model import quantities as q
from annelid.solver.records import Margin

_KINDS = {
    "limit point": "At a limit point the load has an extreme: no equilibrium nearby carries more (or less, "
    "if the load is falling).",
    "bifurcation": "At a bifurcation another shape, such as a bulge or a buckle, branches off the path.",
}
_CONTROLS = {
    "volume": "the enclosed volume is prescribed, as by a syringe full of liquid, and the pressure follows",
    "charge": "the charge is prescribed, as by a supply that delivers charge, and the voltage follows",
    "displacement": "the motion of a point is prescribed and the loads follow",
    "opening": "the opening of a section is prescribed and the loads follow",
    "arc": "the path is followed by its arc length, which no real supply can do",
}
_SHOWN_FOR_JUMPS = (q.LUMEN_VOLUME.name, q.MEAN_RADIAL_EXPANSION.name, q.LARGEST_STRETCH.name)
_COLUMNS = {
    "where": "where",
    "load": "load",
    "volume": "volume",
    "stretch": q.LARGEST_STRETCH.name,
    "field": "true field",
    "margin": "critical load over other loads",
}


def stability(run: RunRecord) -> dict[str, Any]:
    """Return the text on stability: ``paragraphs``, and ``rows`` for the table of critical points.

    ``columns`` holds the names of the columns that are not empty. All are empty for a path that is stable
    throughout and has no critical point.
    """
    table = run.table
    ahead = _ahead(run.outcome.margins) if run.outcome else []
    if not (table.is_critical.any() or table.unstable.any() or table.after_jump.any()):
        return {"paragraphs": ahead, "rows": [], "columns": {}}
    kinds = [_KINDS[kind] for kind in dict.fromkeys(p.kind for p in run.critical_points) if kind in _KINDS]
    paragraphs = [
        " ".join(kinds),
        _controls(table, run.description.controls),
        _jumps(table),
        _energies(table),
        *ahead,
    ]
    rows = [_row(run, number, point) for number, point in enumerate(run.critical_points, start=1)]
    columns = {key: words for key, words in _COLUMNS.items() if any(row[key] for row in rows)}
    return {"paragraphs": [p for p in paragraphs if p], "rows": rows, "columns": columns}


def _ahead(margins: Sequence[Margin]) -> list[str]:
    """The next critical point as each load grows from the last state; one paragraph."""
    sentences = [f"{m.text[:1].upper()}{m.text[1:]}{_margin_value(m)}." for m in margins]
    opening = "How far each load alone may still rise from the last state, the other loads held constant."
    return [" ".join([opening, *sentences])] if sentences else []


def _margin_value(margin: Margin) -> str:
    """The margin, where the sentence could be read as the margin itself."""
    return f": the margin is at least {digits(margin.value, 4)}" if margin.is_bound else ""


def legend(table: PathTable | None, verdicts: Sequence[Verdict]) -> dict[str, bool]:
    """State which marks of the curves the legend has to explain."""
    names = ("unstable", "uncontrolled", "critical", "jump", "broken", "limit")
    if table is None:
        return dict.fromkeys(names, False)
    controlled = table.unstable & ~table.uncontrolled
    found = (controlled, table.uncontrolled, table.is_critical, table.after_jump, table.past_breakdown)
    limit = any(verdict.quantity in table.columns for verdict in verdicts)
    return dict(zip(names, [*(bool(rows.any()) for rows in found), limit], strict=True))


def compressed_wall(table: PathTable) -> str:
    """State how much of the wall is compressed in its plane; empty if nothing is."""
    fractions = np.nan_to_num(table.columns.get(q.COMPRESSED_WALL.name, np.zeros(len(table))))
    if fractions.max(initial=0.0) <= 0.0:
        return ""
    worst = int(np.argmax(fractions))
    last = "none" if fractions[-1] == 0.0 else f"{digits(100.0 * float(fractions[-1]), 3)} %"
    text = f"In the last state {last} of the wall, by volume, is in compression in its own plane"
    if fractions[worst] > fractions[-1] * (1.0 + 1e-3):
        most = f"{digits(100.0 * float(fractions[worst]), 3)} %"
        text += f" (at most {most}, in state {int(table['state'][worst])})"
    return (
        f"{text}. A thin wall can carry hardly any compression: there the real part goes slack or wrinkles, "
        "and the calculation, in which it stays smooth, is stiffer than the part."
    )


def moving_load(table: PathTable, stage: str) -> str:
    """Return the load that changes most in a stage; empty for none."""
    return next((span.load for span in driven_stages(table) if span.stage == stage), "")


def _controls(table: PathTable, controls: Mapping[str, str]) -> str:
    """How many states are unstable under given loads, and how many under the control in force."""
    count = int(table.unstable.sum())
    if count == 0:
        return "Every state of the path is stable under given loads."
    text = (
        f"{_of(count, len(table))} unstable under given loads: if a source keeps the pressure or the voltage "
    )
    text += f"constant, the part leaves {'it' if count == 1 else 'them'} by itself. "
    stages = dict.fromkeys(np.array(table.stages)[table.unstable].tolist())
    stable, unstable = int((table.unstable & ~table.uncontrolled).sum()), int(table.uncontrolled.sum())
    for stage in stages:
        words = _CONTROLS.get(controls.get(stage, ""), "")
        text += f"In stage “{stage}” {words}. " if words else ""
    if stable:
        which = "it is" if count == 1 else "all of them are" if stable == count else f"{stable} of them are"
        text += f"Under the control in force {which} stable (dashed): a part that is driven so stays there. "
    if unstable:
        which = "They are" if unstable == count else _of(unstable, len(table))
        text += f"{which} unstable under the control in force as well (dotted): no real part stays there."
    return text.strip()


def _of(count: int, total: int) -> str:
    return f"{count} of {total} states {'is' if count == 1 else 'are'}"


def _jumps(table: PathTable) -> str:
    sentences = []
    for row in np.flatnonzero(table.after_jump):
        load = moving_load(table, table.stages[row])
        names = [n for n in _SHOWN_FOR_JUMPS if n in table.columns]
        changes = [
            f"{n} from {table.show(n, float(table[n][row - 1]))} to {table.show(n, float(table[n][row]))}"
            for n in names[:2]
        ]
        at = f" at {load} {table.show(load, float(table[load][row - 1]))}" if load else ""
        sentences.append(f"In stage “{table.stages[row]}” the part jumps{at}: {', '.join(changes)}.")
    if sentences:
        sentences.append("It ends in another stable state (arrow); the motion in between is not resolved.")
    for row in np.flatnonzero(np.array(table.reached_by) == "branch"):
        sentences.append(
            f"In stage “{table.stages[row]}” the path continues along another shape from state "
            f"{int(table['state'][row])} on."
        )
    return " ".join(sentences)


def _energies(table: PathTable) -> str:
    """Energy between unloaded stable states, and energy that a snap at constant pressure releases."""
    found = energies_of(table)
    if found is None:
        return ""
    sentences = []
    if len(found.stable) > 1:
        first, *others = found.stable
        sentences.append(f"Without load the part is stable in {len(found.stable)} states of this path.")
        for rest in others:
            sentences.append(_stored(table, found, first, rest))
    for snap in found.snaps:
        sentences.append(
            f"At a constant pressure of {table.show('pressure', snap.pressure)} the part would snap from the "
            f"limit point in state {snap.state} to the stable state near state {round(snap.end)}; this "
            f"releases {_energy(table, snap.released)}, which ends as heat."
        )
    if sentences:
        error = digits(100 * found.disagreement, 2)
        sentences.append(f"∫ P dV along the path and the strain energy agree to {error} %.")
    return " ".join(sentences)


def _energy(table: PathTable, value: float) -> str:
    return table.show(q.STRAIN_ENERGY.name, value)


def _stored(table: PathTable, found: Energies, first: Rest, rest: Rest) -> str:
    stored = _energy(table, rest.energy - first.energy)
    text = f"The strain energy in state {round(rest.state)} (or near it) is {stored} above that in state "
    text += f"{round(first.state)}"
    top = found.barrier(first, rest)
    if top is None:
        return text + "."
    up, back = (_energy(table, top.energy - each.energy) for each in (first, rest))
    text += "; the lowest unloaded state between them on this path is"
    return f"{text} {back} above the former and {up} above the latter."


def _row(run: RunRecord, number: int, point: CriticalPoint) -> dict[str, str]:
    table = run.table
    load = moving_load(table, point.stage)
    first = [load] if load in point.loads else []
    loads = [n for n in dict.fromkeys([*first, *point.loads]) if n in first or point.loads[n].value]
    values = {
        key: table.show(name, point.quantities[name].value) if name in point.quantities else ""
        for key, name in (
            ("volume", q.LUMEN_VOLUME.name),
            ("stretch", q.LARGEST_STRETCH.name),
            ("field", q.LARGEST_TRUE_FIELD.name),
        )
    }
    return {
        "number": str(number),
        "kind": point.kind,
        "where": f"{point.stage}, state\N{NO-BREAK SPACE}{point.state}",
        "load": ", ".join(f"{name} {table.show(name, point.loads[name].value)}" for name in loads),
        **(values if point.quantities.get(q.LARGEST_TRUE_FIELD.name, (0.0,))[0] else values | {"field": ""}),
        "margin": _ratio_words(run, point, load) if first else "",
    }


def _ratio_words(run: RunRecord, point: CriticalPoint, load: str) -> str:
    ratios = load_ratios(run.table, point, load, run.description.targets)
    words = []
    if np.isfinite(ratios.over_target):
        words.append(f"{digits(ratios.over_target, 3)} × requested load")
    if np.isfinite(ratios.over_last):
        words.append(f"{digits(ratios.over_last, 3)} × last load")
    return "; ".join([*words, *(["passed"] if ratios.passed else [])])
