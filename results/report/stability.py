# SPDX-License-Identifier: MIT
"""Text on stability: critical points, controls, jumps, and walls in compression."""

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from annelid.results.figures.stage_spans import stage_spans
from annelid.results.folder.critical_points import CriticalPoint, load_ratios
from annelid.results.folder.energies import energies_of
from annelid.results.folder.run_record import RunRecord
from annelid.results.folder.run_records import Verdict
from annelid.results.folder.tables import PathRecord
from annelid.results.report.snap_text import energy_text
from annelid.solver.display import capitalised, digits
from annelid.solver.model import quantities as q
from annelid.solver.model.harmonic_words import waves_of
from annelid.solver.records import Margin

_KINDS = {
    "limit point": "At a limit point the load has a maximum or a minimum along the path.",
    "bifurcation": "At a bifurcation a path with another shape, such as a bulge or a buckle, branches off.",
}
_AROUND = (
    "Where a part bends sideways, goes oval or folds, a path with waves around the axis branches off: "
    "the part leaves its axial symmetry, and what follows needs a 3-D model, which annelid branch writes."
)
_CONTROLS = {
    "volume": "the enclosed volume is prescribed, as with a syringe full of liquid; the pressure is a result",
    "charge": "the charge is prescribed, as with a charge-controlled supply; the voltage is a result",
    "displacement": "the displacement of a point is prescribed; the loads are results",
    "opening": "the opening of a section is prescribed; the loads are results",
    "arc": "the arc length along the path is prescribed, which is not possible in an experiment",
}
_JUMP_QUANTITIES = (q.LUMEN_VOLUME.name, q.MEAN_RADIAL_EXPANSION.name, q.LARGEST_STRETCH.name)
_COLUMNS = {
    "where": "where",
    "load": "load",
    "volume": "volume",
    "stretch": q.LARGEST_STRETCH.name,
    "field": "true field",
    "ratio": "critical load relative to other loads",
}


def stability(run: RunRecord) -> dict[str, Any]:
    """Return the content of the section on stability.

    Returns:
        ``paragraphs``, ``rows`` of the table of critical points, and ``columns``, the headings of the columns
        that are not empty. If the path is stable and has no critical point, there are only paragraphs on the
        stability margins.
    """
    table = run.table
    margins = _margins(run.outcome.margins) if run.outcome else []
    if not (table.is_critical.any() or table.unstable.any() or table.after_jump.any()):
        return {"paragraphs": margins, "rows": [], "columns": {}}
    found = dict.fromkeys(p.kind for p in run.critical_points)
    kinds = [_KINDS[kind] for kind in found if kind in _KINDS] + [_AROUND] * any(map(waves_of, found))
    paragraphs = [
        " ".join(kinds),
        _controls(table, run.description.controls),
        _jumps(table),
        energy_text(table),
        *margins,
    ]
    rows = [_row(run, number, point) for number, point in enumerate(run.critical_points, start=1)]
    columns = {key: heading for key, heading in _COLUMNS.items() if any(row[key] for row in rows)}
    return {
        "paragraphs": [p for p in paragraphs if p],
        "rows": rows,
        "columns": columns,
    }


_FOLDED = 1e-6  # folded length below which there is none


def _margins(margins: Sequence[Margin]) -> list[str]:
    """A paragraph on the next critical point as each load increases from the last state."""
    sentences = [f"{capitalised(m.text)}{_margin_value(m)}." for m in margins]
    first = "Stability margins: one load increases from the last state, and the other loads are constant."
    return [" ".join([first, *sentences])] if sentences else []


def _margin_value(margin: Margin) -> str:
    """The value of a margin that is only a lower bound."""
    return f": the margin is at least {digits(margin.value, 4)}" if margin.is_bound else ""


def legend(table: PathRecord | None, verdicts: Sequence[Verdict]) -> dict[str, bool]:
    """Return which entries the legend of the curves needs."""
    names = ("controlled", "uncontrolled", "critical", "jump", "limit", "requirement")
    if table is None:
        return dict.fromkeys(names, False)
    controlled = table.unstable & ~table.unstable_under_control
    uncontrolled = table.unstable_under_control
    energies = energies_of(table)
    snaps = table.after_jump | bool(energies is not None and energies.snaps)
    rows = (controlled, uncontrolled, table.is_critical, snaps, table.past_limit)
    requirement = any(verdict.quantity in table.columns for verdict in verdicts)
    return dict(zip(names, [*(bool(r.any()) for r in rows), requirement], strict=True))


def compressed_wall_text(table: PathRecord) -> str:
    """Return a paragraph on the part of the wall that is in compression; empty if there is none."""
    fractions = np.nan_to_num(table.columns.get(q.COMPRESSED_WALL.name, np.zeros(len(table))))
    if fractions.max(initial=0.0) <= 0.0:
        return ""
    worst = int(np.argmax(fractions))
    last = f"{digits(100.0 * float(fractions[-1]), 3)} %"
    text = f"In the last state {last} of the volume of the wall is in more compression than a wall carries"
    if fractions[worst] > fractions[-1] * (1.0 + 1e-3):
        largest = f"{digits(100.0 * float(fractions[worst]), 3)} %"
        text += f" (at most {largest}, in state {int(table['state'][worst])})"
    return (
        f"{text}. The real wall becomes slack or wrinkles there. "
        "In the calculation it stays smooth, so the model is stiffer than the real part. A thin wall of an "
        "axisymmetric model goes slack instead if its table of [[parts]] has compression = “none”. On a soft "
        "core a stiff film carries compression up to the load at which it wrinkles; harmonics find that load."
    )


def slack_wall_text(table: PathRecord) -> str:
    """Return a paragraph on walls that carry no compression; empty if there are none."""
    shares = table.columns.get(q.SLACK_WALL.name)
    if shares is None:
        return ""
    shares = np.nan_to_num(shares)
    if shares.max(initial=0.0) <= 0.0:
        return "The walls with compression = “none” are taut in all states."
    worst = int(np.argmax(shares))
    text = f"In the last state {_percent(shares[-1])} of the walls with compression = “none” are slack"
    if shares[worst] > shares[-1] * (1.0 + 1e-3):
        text += f" (at most {_percent(shares[worst])}, in state {int(table['state'][worst])})"
    around, along = (float(np.nan_to_num(table[quantity.name])[-1]) for quantity in q.FOLDED_LENGTHS)
    folds = [
        f"up to {_percent(share)} of their length {direction} lies in folds that run {across} it"
        for share, direction, across in (
            (around, "around the axis", "along"),
            (along, "along the axis", "around"),
        )
        if share > _FOLDED
    ]
    if folds:
        text += f": {' and '.join(folds)}"
    return (
        f"{text}. Folds are taken as fine and without stiffness: the calculation gives the mean place of the "
        "wall and its tension, not the depth and the number of the folds."
    )


def _percent(share: float) -> str:
    return f"{digits(100.0 * float(share), 3)} %"


def main_load(table: PathRecord, stage: str) -> str:
    """Return the load that changes most in a stage; empty if no load changes."""
    return next((span.load for span in stage_spans(table) if span.stage == stage), "")


def _controls(table: PathRecord, controls: Mapping[str, str]) -> str:
    """Sentences on the states that are unstable under given loads or under the control in force."""
    count = int(table.unstable.sum())
    if count == 0:
        return "Every state of the path is stable under given loads."
    text = (
        f"{_of(count, len(table))} unstable under given loads: with a source of constant pressure or voltage "
    )
    text += f"the part would leave {'it' if count == 1 else 'them'}. "
    for stage in dict.fromkeys(np.array(table.stages)[table.unstable].tolist()):
        control = _CONTROLS.get(controls.get(stage, ""), "")
        text += f"In stage “{stage}” {control}. " if control else ""
    unstable = int(table.unstable_under_control.sum())
    stable = int((table.unstable & ~table.unstable_under_control).sum())
    if stable:
        subject = "it is" if count == 1 else "all of them are" if stable == count else f"{stable} of them are"
        text += f"Under the control in force {subject} stable (circles). "
    if unstable:
        all_of_them = "This state is" if count == 1 else "All these states are"
        subject = all_of_them if unstable == count else _of(unstable, len(table))
        text += f"{subject} unstable under the control in force as well (squares)."
    return text.strip()


def _of(count: int, total: int) -> str:
    return f"{count} of {total} states {'is' if count == 1 else 'are'}"


def _jumps(table: PathRecord) -> str:
    sentences = []
    for row in np.flatnonzero(table.after_jump):
        load = main_load(table, table.stages[row])
        names = [n for n in _JUMP_QUANTITIES if n in table.columns]
        changes = [
            f"{n} from {table.show(n, float(table[n][row - 1]))} to {table.show(n, float(table[n][row]))}"
            for n in names[:2]
        ]
        at = f" at {load} {table.show(load, float(table[load][row - 1]))}" if load else ""
        sentences.append(f"In stage “{table.stages[row]}” the part jumps{at}: {', '.join(changes)}.")
    if sentences:
        sentences.append("The jump (arrow) ends in another stable state; its motion is not resolved.")
    for row in np.flatnonzero(np.array(table.reached_by) == "branch"):
        sentences.append(
            f"In stage “{table.stages[row]}” the path continues on another branch from state "
            f"{int(table['state'][row])} on."
        )
    return " ".join(sentences)


def _row(run: RunRecord, number: int, point: CriticalPoint) -> dict[str, str]:
    table = run.table
    load = main_load(table, point.stage)
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
        "ratio": _ratio_text(run, point, load) if first else "",
    }


def _ratio_text(run: RunRecord, point: CriticalPoint, load: str) -> str:
    ratios = load_ratios(run.table, point, load, run.description.targets)
    texts = []
    if np.isfinite(ratios.over_target):
        texts.append(f"{digits(ratios.over_target, 3)} × requested load")
    if np.isfinite(ratios.over_last):
        texts.append(f"{digits(ratios.over_last, 3)} × load in the last state")
    return "; ".join([*texts, *(["passed"] if ratios.passed else [])])
