# SPDX-License-Identifier: MIT
"""Stability in plain words: critical points, what holds an unstable state, jumps, slack walls."""

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from annelid.results.display_units import digits, show
from annelid.results.figures.path_figures import driven_stages
from annelid.results.folder.critical_points import CriticalPoint, margin
from annelid.results.folder.energies import Energies, Rest, energies_of
from annelid.results.folder.records import Verdict
from annelid.results.folder.run_record import RunRecord
from annelid.results.folder.tables import PathTable
from annelid.solver.records import Margin

_KINDS = {
    "limit point": "At a limit point the load has an extreme: no equilibrium close by carries more (or, on "
    "the way down, less).",
    "bifurcation": "At a bifurcation another shape, such as a bulge or a buckle, branches off the path.",
}
_HELD = {
    "volume": "the enclosed volume is held, as by a syringe full of liquid, and the pressure adjusts itself",
    "charge": "the charge is held, as by a supply that delivers charge, and the voltage adjusts itself",
    "displacement": "the motion of a point is held and the loads adjust themselves",
    "opening": "the opening of a section is held and the loads adjust themselves",
}
_ARC = "the path is followed by its length, a means of calculation that holds nothing"
_TOLD_OF_JUMPS = ("lumen volume", "mean radial expansion", "largest stretch")
_COLUMNS = {
    "where": "where",
    "load": "load",
    "volume": "volume",
    "stretch": "largest stretch",
    "field": "true field",
    "margin": "critical load over working point",
}


def stability(run: RunRecord) -> dict[str, Any]:
    """Return what the report says of stability: ``paragraphs``, and ``rows`` for the table of points.

    ``columns`` names the table's columns that say something. All are empty for a path that is stable all
    along and has no critical point.
    """
    table = run.table
    ahead = _ahead(run.outcome.margins) if run.outcome else []
    if not (table.is_critical.any() or table.unstable.any() or table.landings.any()):
        return {"paragraphs": ahead, "rows": [], "columns": {}}
    kinds = [_KINDS[kind] for kind in dict.fromkeys(p.kind for p in run.critical_points) if kind in _KINDS]
    paragraphs = [" ".join(kinds), _controls(table, run.case), _jumps(table), _energies(table), *ahead]
    rows = [_row(run, number, point) for number, point in enumerate(run.critical_points, start=1)]
    columns = {key: words for key, words in _COLUMNS.items() if any(row[key] for row in rows)}
    return {"paragraphs": [p for p in paragraphs if p], "rows": rows, "columns": columns}


def _ahead(margins: Sequence[Margin]) -> list[str]:
    """What lies ahead of the working point as each load grows; one paragraph."""
    sentences = [f"{m.text[:1].upper()}{m.text[1:]}{_margin_value(m)}." for m in margins]
    opening = "Margins of the working point, each load growing while what is not named is held."
    return [" ".join([opening, *sentences])] if sentences else []


def _margin_value(margin: Margin) -> str:
    """The number behind a sentence, where the sentence alone could be mistaken for it."""
    return f": the margin is at least {digits(margin.value, 4)}" if margin.is_bound else ""


def legend(table: PathTable | None, verdicts: Sequence[Verdict]) -> dict[str, bool]:
    """Tell which marks of the curves the legend has to explain."""
    names = ("unstable", "unheld", "critical", "jump", "broken", "limit")
    if table is None:
        return dict.fromkeys(names, False)
    held = table.unstable & ~table.unheld
    found = (held, table.unheld, table.is_critical, table.landings, table.past_breakdown)
    limit = any(verdict.quantity in table.columns for verdict in verdicts)
    return dict(zip(names, [*(bool(rows.any()) for rows in found), limit], strict=True))


def slack(table: PathTable) -> str:
    """Say how much of the wall is compressed in its plane; empty where none is."""
    shares = np.nan_to_num(table.columns.get("slack share", np.zeros(len(table))))
    if shares.max(initial=0.0) <= 0.0:
        return ""
    worst = int(np.argmax(shares))
    last = "none" if shares[-1] == 0.0 else f"{digits(100.0 * float(shares[-1]), 3)} %"
    text = f"In the last state {last} of the wall, by volume, is in compression in its own plane"
    if shares[worst] > shares[-1] * (1.0 + 1e-3):
        most = f"{digits(100.0 * float(shares[worst]), 3)} %"
        text += f" (at most {most}, in state {int(table['state'][worst])})"
    return (
        f"{text}. A thin wall carries next to no compression: there the real part goes slack or wrinkles, "
        "and the calculation, which keeps it smooth, makes it stiffer than it is."
    )


def moving_load(table: PathTable, stage: str) -> str:
    """Return the load that moves most in a stage; empty for none."""
    return next((span.load for span in driven_stages(table) if span.stage == stage), "")


def _controls(table: PathTable, case: Mapping[str, Any]) -> str:
    """What is unstable under given loads, and what the control in force makes of it."""
    count = int(table.unstable.sum())
    if count == 0:
        return "Every state of the path is stable under given loads."
    text = f"{_of(count, len(table))} unstable under given loads: where a source holds the pressure or the "
    text += f"voltage whatever the part does, it would leave {'it' if count == 1 else 'them'} by itself. "
    stages = dict.fromkeys(np.array(table.stages)[table.unstable].tolist())
    held, free = int((table.unstable & ~table.unheld).sum()), int(table.unheld.sum())
    for stage in stages:
        control = _control_of(case, stage)
        words = _HELD.get(control, _ARC if control == "arc" else "")
        text += f"In stage “{stage}” {words}. " if words else ""
    if held:
        which = "it is" if count == 1 else "all of them are" if held == count else f"{held} of them stay"
        text += f"Under the control in force {which} stable (dashed): a real part driven so stays there. "
    if free:
        who = (
            "No control in force holds them" if free == count else f"{_of(free, len(table))} unstable even so"
        )
        text += f"{who} (dotted): no real part stays there."
    return text.strip()


def _of(count: int, total: int) -> str:
    return f"{count} of {total} states {'is' if count == 1 else 'are'}"


def _control_of(case: Mapping[str, Any], stage: str) -> str:
    stages = case.get("stages")
    for entry in stages if isinstance(stages, list) else []:
        if isinstance(entry, Mapping) and entry.get("name") == stage:
            control = str(entry.get("control", "load"))
            return "volume" if control == "load" and entry.get("volume") else control
    return ""


def _jumps(table: PathTable) -> str:
    sentences = []
    for row in np.flatnonzero(table.landings):
        load = moving_load(table, table.stages[row])
        names = [n for n in _TOLD_OF_JUMPS if n in table.columns]
        changes = [
            f"{n} from {show(n, float(table[n][row - 1]), table.units[n])} to "
            f"{show(n, float(table[n][row]), table.units[n])}"
            for n in names[:2]
        ]
        at = f" at {load} {show(load, float(table[load][row - 1]), table.units[load])}" if load else ""
        sentences.append(f"In stage “{table.stages[row]}” the part jumps{at}: {', '.join(changes)}.")
    if sentences:
        sentences.append("It lands on another stable state (arrow); what happens between is motion.")
    for row in np.flatnonzero(np.array(table.reached_by) == "branch"):
        sentences.append(
            f"In stage “{table.stages[row]}” the path turns off onto another shape in state "
            f"{int(table['state'][row])}."
        )
    return " ".join(sentences)


def _energies(table: PathTable) -> str:
    """What is stored between unloaded stable states, and what a snap under a held pressure lets go."""
    found = energies_of(table)
    if found is None:
        return ""
    sentences = []
    if len(found.stable) > 1:
        first, *others = found.stable
        sentences.append(f"Without load the part stays in {len(found.stable)} states of this path.")
        for rest in others:
            sentences.append(_stored(found, first, rest))
    for snap in found.snaps:
        sentences.append(
            f"Under a held pressure of {show('pressure', snap.pressure, 'MPa')} the part would leave the "
            f"limit point in state {snap.state} for the stable state near state {round(snap.landing)} and "
            f"let go {show('energy', snap.released, 'mJ')}, as motion and then heat."
        )
    if sentences:
        share = digits(100 * found.disagreement, 2)
        sentences.append(f"∫ P dV along the path and the strain energy agree to {share} %.")
    return " ".join(sentences)


def _stored(found: Energies, first: Rest, rest: Rest) -> str:
    stored = show("energy", rest.energy - first.energy, "mJ")
    text = f"State {round(rest.state)} (or near it) stores {stored} against state {round(first.state)}"
    top = found.barrier(first, rest)
    if top is None:
        return text + "."
    up, back = (show("energy", top.energy - each.energy, "mJ") for each in (first, rest))
    text += "; the lowest unloaded state between them on this path lies"
    return f"{text} {back} above it and {up} above the other."


def _row(run: RunRecord, number: int, point: CriticalPoint) -> dict[str, str]:
    table = run.table
    load = moving_load(table, point.stage)
    first = [load] if load in point.loads else []
    loads = [n for n in dict.fromkeys([*first, *point.loads]) if n in first or point.loads[n].value]
    told = {
        key: show(name, *point.quantities[name]) if name in point.quantities else ""
        for key, name in (
            ("volume", "lumen volume"),
            ("stretch", "largest stretch"),
            ("field", "largest true field"),
        )
    }
    return {
        "number": str(number),
        "kind": point.kind,
        "where": f"{point.stage}, state\N{NO-BREAK SPACE}{point.state}",
        "load": ", ".join(f"{name} {show(name, *point.loads[name])}" for name in loads),
        **(told if point.quantities.get("largest true field", (0.0,))[0] else told | {"field": ""}),
        "margin": _margin_words(run, point, load) if first else "",
    }


def _margin_words(run: RunRecord, point: CriticalPoint, load: str) -> str:
    found = margin(run.table, point, load, run.case)
    words = []
    if np.isfinite(found.over_asked):
        words.append(f"{digits(found.over_asked, 3)} × load asked for")
    if np.isfinite(found.over_last):
        words.append(f"{digits(found.over_last, 3)} × last load")
    return "; ".join([*words, *(["passed"] if found.passed else [])])
