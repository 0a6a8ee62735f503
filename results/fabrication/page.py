# SPDX-License-Identifier: MIT
"""Content of the page of a fabrication sheet."""

from collections.abc import Iterator, Sequence
from itertools import groupby
from typing import Any

import numpy as np

from annelid.geometry.fabrication.mask import Mask
from annelid.geometry.fabrication.mould import Mould
from annelid.geometry.fabrication.plan import FabricationPlan
from annelid.results.fabrication.drawing import CUT, Drawing, Line, mask_drawing
from annelid.results.fabrication.drawing_files import svg
from annelid.results.fabrication.electrics import BLEEDER, SAFE_VOLTAGE, stored_electricity
from annelid.results.fabrication.page_layers import by_layer, layer_rows
from annelid.results.folder.folder_files import PATH
from annelid.results.folder.run_record import RunRecord
from annelid.results.folder.state_words import state_word
from annelid.results.folder.tables import PathRecord
from annelid.results.report.answer import outcome_of
from annelid.results.report.making_text import inflation_text
from annelid.results.report.safety import CAUTIONS, CURRENT_NOTE, stored_charge
from annelid.solver.display import DisplayUnits, capitalised, digits
from annelid.solver.model import quantities as q

__all__ = ["page_content"]

_A4 = (184.0, 225.0)  # mm, of a figure on a page with its caption
_STATIONS = 9  # of the table of a profile
_ROWS = 12  # of the table of the inflation
_HABITS = (
    "Use a supply whose current is limited to what the part needs, and set the limit before the voltage.",
    "Fix the part behind an insulating cover; keep one hand away from the circuit.",
    "Connect a bleeder resistor across the electrodes for as long as the part is connected.",
    "Switch off, wait for the discharge, short the electrodes with an insulated rod, check with a meter.",
    "Do not work alone. Put up a warning, and keep others away from the bench.",
)
_NOT_RUN = {
    "tone": "warning",
    "kind": "not run",
    "text": "Sizes, masks and moulds follow from the case alone.",
    "reasons": ["Pressures and volumes of the making, charge and energy need a run of the case."],
    "remarks": (),
}


def page_content(
    plan: FabricationPlan,
    *,
    title: str,
    notes: str,
    units: DisplayUnits,
    run: RunRecord | None,
    making: Sequence[str],
    printing: Sequence[str],
    other: Sequence[str],
    files: Sequence[str],
) -> dict[str, Any]:
    """Return the content of ``fabrication.html``; arguments as for ``write_fabrication_sheet``."""
    table = None if run is None or not _has_states(run) else run.table
    return {
        "title": title,
        "notes": notes,
        "outcome": _NOT_RUN if run is None else outcome_of(run, table),
        "tiles": _tiles(plan, units, table),
        "layers": layer_rows(plan, units),
        "other": other,
        "moulds": [_mould(mould, plan, units) for mould in plan.moulds],
        "masks": [_mask_figure(masks, plan) for masks in _shown(plan.masks)],
        "stretch": list(_stretch(plan, units, run)),
        "making": making,
        "inflation": None if run is None else _inflation(run),
        "stages": None if run is None or table is None else _stages(run, table),
        "printing": printing,
        "electricity": [] if run is None or table is None else _electricity(run, units),
        "bleeder": f"{BLEEDER:g} MΩ",
        "safe_voltage": f"{1e3 * SAFE_VOLTAGE:g} V",
        "stored": None if table is None else stored_charge(table),
        "habits": _HABITS,
        "cautions": CAUTIONS,
        "current_note": CURRENT_NOTE,
        "missing": plan.missing,
        "remarks": plan.remarks,
        "files": files,
    }


def _electricity(run: RunRecord, units: DisplayUnits) -> list[tuple[str, ...]]:
    keys = ("voltage", "charge", "capacitance", "energy")
    return [
        (
            entry.electrode,
            *(units.show(key, getattr(entry, key)) for key in keys),
            f"{digits(1e3 * entry.discharge, 3)} ms",
        )
        for entry in stored_electricity(run)
    ]


def _has_states(run: RunRecord) -> bool:
    return (run.path / PATH).exists()


def _tiles(plan: FabricationPlan, units: DisplayUnits, table: PathRecord | None) -> list[dict[str, str]]:
    tiles = [{"name": "sheets", "value": str(len(plan.sheets)), "where": ""}]
    if plan.moulds:
        diameter = 2 * float(plan.moulds[0].profile[:, 0].max())
        shown = units.show("length", diameter)
        tiles.append({"name": "mould", "value": shown, "where": "largest diameter"})
    stored = None if table is None else stored_charge(table)
    if stored is not None:
        tiles.append({"name": "highest voltage", "value": units.show("voltage", stored.voltage), "where": ""})
        tiles.append({"name": "stored energy", "value": units.show("energy", stored.energy), "where": ""})
    return tiles


def _mould(mould: Mould, plan: FabricationPlan, units: DisplayUnits) -> dict[str, Any]:
    (R, Z), shrinkage, names = mould.side.T, plan.settings.shrinkage, ", ".join(mould.layers)
    shape = "conical mandrel" if mould.is_conical else "mould"
    if np.ptp(R) < 1e-6 * R.max():
        shape = "cylindrical mandrel"
    shrunk = "no shrinkage is given"
    if shrinkage is not None:
        shrunk = f"enlarged for a shrinkage of {100 * shrinkage:g} %"
    chosen = _spread(len(R), _STATIONS)
    outline = np.concatenate([mould.side, mould.side[::-1] * [-1.0, 1.0]])
    return {
        "heading": f"For {names}: {shape}, {shrunk}",
        "rows": [(units.show("length", Z[i] - Z[0]), units.show("length", 2 * R[i])) for i in chosen],
        "figure": _figure(Drawing((Line(CUT, outline),)), f"Mould for {names}"),
    }


def _spread(count: int, most: int) -> list[int]:
    """Numbers of at most so many of the first ``count`` rows, evenly spread from the first to the last."""
    return sorted({round(x) for x in np.linspace(0, count - 1, min(count, most)).tolist()})


def _shown(masks: Sequence[Mask]) -> Iterator[list[Mask]]:
    """Of each layer the masks of the first film and the next, of opposite polarity, or of its first sheet."""
    for _, group in groupby(masks, lambda mask: mask.layer):
        members = list(group)
        yield members[: 2 if members[0].bands else 1]


def _mask_figure(masks: list[Mask], plan: FabricationPlan) -> dict[str, Any]:
    development = masks[0].development
    exact = {
        "rectangle": "laid out exactly",
        "sector": "a cone, laid out exactly",
        "gores": f"{development.panels} gores of exact area",
    }[development.kind]
    return _figure(mask_drawing(masks, plan.settings), f"{masks[0].layer}: {exact}, as cast")


def _figure(drawing: Drawing, caption: str) -> dict[str, Any]:
    """A drawing at true scale if it fits on a page, else at a round smaller scale."""
    width, height = drawing.high - drawing.low + 8.0
    fits = min(_A4[0] / width, _A4[1] / height)
    scale = 1.0 if fits >= 1 else 1 / np.ceil(1 / fits)
    words = "scale 1:1" if scale == 1 else f"scale 1:{1 / scale:g}; the files have scale 1:1"
    return {"svg": svg(drawing, scale=scale, name=caption), "caption": f"{caption}; {words}."}


def _stretch(plan: FabricationPlan, units: DisplayUnits, run: RunRecord | None) -> Iterator[str]:
    """Sentences on the pre-stretch and its marks."""
    side = plan.settings.marks
    for sheet, *_ in by_layer(plan):
        layer = sheet.layer
        if sheet.hoop == sheet.axial == 1.0:
            yield f"{layer} is mounted as it is cast, without pre-stretch."
            continue
        around, along = (units.show("length", side * value) for value in (sheet.hoop, sheet.axial))
        square = units.show("length", side)
        yield (
            f"{layer}: stretch by {digits(1 / sheet.hoop, 4)} around and {digits(1 / sheet.axial, 4)} along. "
            f"Draw lines {around} apart around and {along} apart along on the sheet as cast; it is stretched "
            f"correctly when they form squares of {square}."
        )
    if run is not None and run.inflation is not None:
        inflated = units.show("length", side * float(run.inflation[q.MEAN_HOOP_STRETCH][-1]))
        yield (
            f"Draw marks {units.show('length', side)} apart around the widest place of the skin; when it is "
            f"inflated for the print they are {inflated} apart, in the middle of its thickness."
        )


def _inflation(run: RunRecord) -> dict[str, Any] | None:
    """How the skin is inflated, as a table and in words."""
    path = run.inflation
    if path is None:
        return None
    sizes = (q.LUMEN_VOLUME.name, q.LARGEST_DIAMETER.name, q.MEAN_HOOP_STRETCH, q.STRAIN_ENERGY.name)
    names = [name for name in ("pressure", *sizes) if name in path.columns]
    return {
        "text": inflation_text(path),
        "columns": [*map(capitalised, names)],
        "rows": [[path.show(n, float(path[n][i])) for n in names] for i in _spread(len(path), _ROWS)],
    }


def _stages(run: RunRecord, table: PathRecord) -> dict[str, Any]:
    """Loads and sizes at the end of each stage."""
    names = table.varying_loads
    sizes = (q.LUMEN_VOLUME, q.SMALLEST_LUMEN_DIAMETER, q.LARGEST_DIAMETER, q.LENGTH)
    names += [size.name for size in sizes if size.name in table.columns]
    return {
        "columns": ["End of stage", *map(capitalised, names)],
        "rows": [
            (f"{stage} ({state_word(run, row)})", *(table.show(n, float(table[n][row])) for n in names))
            for stage, row in table.stage_ends.items()
        ],
    }
