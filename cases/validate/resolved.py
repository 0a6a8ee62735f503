# SPDX-License-Identifier: MIT
"""The resolved case: nothing left out, one notation for every quantity, and its stable hash."""

import hashlib
from typing import Any

import tomli_w

from annelid.cases.schema.case import Case
from annelid.cases.validate.extents import band_span, every_region
from annelid.solver.model.boundary import Electrode
from annelid.solver.model.parts import Part, Sheets
from annelid.solver.model.stages import CONTROLS, Stage

__all__ = ["case_hash", "coarsened", "resolved", "to_toml"]


def resolved(case: Case) -> Case:
    """The same case with what was left out written in: band edges, sheet thicknesses, names of stages.

    Expects a case without problems between its tables.
    """
    names = tuple(electrode.name for electrode in case.electrodes)
    return case.model_copy(
        update={
            "parts": tuple(_part(case, part) for part in case.parts),
            "electrodes": tuple(_electrode(case, electrode) for electrode in case.electrodes),
            "stages": tuple(
                _stage(stage, number, names) for number, stage in enumerate(case.stages, start=1)
            ),
        }
    )


def to_toml(case: Case) -> str:
    """The case as a TOML text that reads back to the same case."""
    return tomli_w.dumps(_set_only(case.model_dump(by_alias=True)))


def case_hash(case: Case) -> str:
    """Hash of a resolved case, 64 hexadecimal digits; the same for "180 um" and "0.18 mm"."""
    return hashlib.sha256(to_toml(case).encode()).hexdigest()


def coarsened(case: Case, factor: float) -> Case:
    """The case on a coarser mesh: elements ``factor`` times as long, one through each layer.

    For a quick look and for tests; the resolved case, and so its hash, says so.
    """
    low, high = band_span(case)
    mesh = case.mesh
    update: dict[str, float] = {
        "along": min(mesh.along * factor, high - low),
        "through": max(1, round(mesh.through / factor)),
        "around": max(8, 4 * round(mesh.around / factor / 4)),
    }
    if mesh.on_struts is not None:
        update["on_struts"] = mesh.on_struts * factor
    return case.model_copy(update={"mesh": mesh.model_copy(update=update)})


def _part(case: Case, part: Part) -> Part:
    thickness = every_region(case)[part.region]
    if thickness is None:
        return part
    count = part.sheets.count if part.sheets else 1
    return part.model_copy(
        update={"sheets": Sheets.model_construct(count=count, thickness=thickness / count)}
    )


def _electrode(case: Case, electrode: Electrode) -> Electrode:
    low, high = band_span(case)
    start = low if electrode.start is None else electrode.start
    end = high if electrode.end is None else electrode.end
    return electrode.model_copy(update={"start": start, "end": end})


def _stage(stage: Stage, number: int, electrodes: tuple[str, ...]) -> Stage:
    everywhere = {name: stage.voltage["all"] for name in electrodes if "all" in stage.voltage}
    named = {name: value for name, value in stage.voltage.items() if name != "all"}
    return stage.model_copy(
        update={
            "name": stage.name or f"stage {number}",
            "voltage": everywhere | named,
            "control": next((c for c, key in CONTROLS.items() if getattr(stage, key)), stage.control),
        }
    )


def _set_only(value: Any) -> Any:
    """Drop what is not set (TOML has no word for nothing) and empty tables."""
    if isinstance(value, dict):
        return {key: _set_only(item) for key, item in value.items() if item not in (None, {}, ())}
    if isinstance(value, list | tuple):
        return [_set_only(item) for item in value]
    return value
