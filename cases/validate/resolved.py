# SPDX-License-Identifier: MIT
"""Resolved cases: defaults are filled in, quantities have one notation, and the hash is stable."""

import hashlib
from typing import Any

import tomli_w

from annelid.cases.convert.as_cast import as_cast_lines
from annelid.cases.convert.flow import SECTIONS, most_sections
from annelid.cases.convert.shape import edge_range, shape_of
from annelid.cases.convert.waves import STEPS_PER_PERIOD, beats_of, duration_of, steps_of, time_step_of
from annelid.cases.schema.case import Case
from annelid.cases.schema.flow import FluidTable
from annelid.cases.schema.material import PartTable, SheetsTable
from annelid.cases.schema.mesh import MeshTable
from annelid.cases.schema.stage import ElectrodeTable, StageTable
from annelid.geometry.errors import InputError
from annelid.geometry.shapes.shape import Shape
from annelid.solver.model.stage_ends import TOLERANCE
from annelid.solver.model.stages import DRIVERS

ACCURACY = 0.01
"""Default accuracy of an axisymmetric mesh whose sizes are not given."""

__all__ = ["ACCURACY", "case_hash", "coarsened", "resolved", "resolved_text", "to_toml"]


def resolved(case: Case, shape: Shape | None) -> Case:
    """Return the case with its defaults filled in: band edges, sheet thicknesses, names of stages.

    Args:
        case: The case.
        shape: Its shape; ``None`` if it is not valid, and defaults that depend on it are not filled in.
    """
    names, beats = tuple(electrode.name for electrode in case.electrodes), beats_of(case)
    update: dict[str, Any] = {
        "stages": tuple(
            _stage(stage, number, names, beats) for number, stage in enumerate(case.stages, start=1)
        )
    }
    if case.mesh is not None:
        update["mesh"] = _mesh(case)
    if shape is not None:
        update["parts"] = tuple(_part(part, shape) for part in case.parts)
        edges = edge_range(case, shape)
        update["electrodes"] = tuple(_electrode(electrode, edges) for electrode in case.electrodes)
        if case.fluid is not None and case.fluid.sections is None and case.mesh is not None:
            update["fluid"] = _with_sections(case, SECTIONS, shape)
    return case.model_copy(update=update)


def to_toml(case: Case) -> str:
    """Return the case as a TOML text from which the same case is read."""
    return tomli_w.dumps(_set_only(case.model_dump(by_alias=True)))


def resolved_text(case: Case) -> str:
    """Return ``to_toml`` of a resolved case, below comments with the sizes of its parts as cast."""
    comments = [f"# {line}\n" for line in as_cast_lines(case)]
    return "".join([*comments, *["\n"] * bool(comments), to_toml(case)])


def case_hash(case: Case) -> str:
    """Return the hash of a resolved case, 64 hexadecimal digits; it is the same for "180 um" and "0.18 mm".

    The units of the report, the settings of the workshop and those of comparisons do not change it.
    """
    output = case.output.model_copy(update={"units": {}})
    relevant = case.model_copy(update={"output": output, "fabrication": None, "comparison": None})
    return hashlib.sha256(to_toml(relevant).encode()).hexdigest()


def coarsened(case: Case, factor: float) -> Case:
    """Multiply the element sizes of a case by ``factor``, with fewer elements through and around.

    The changed mesh is part of the resolved case and of its hash.
    """
    low, high = edge_range(case, shape_of(case))
    mesh = case.mesh
    if mesh.accuracy is not None:
        text = "--coarse: the mesh is chosen for mesh.accuracy; change that instead"
        raise InputError(text, key="--coarse")
    update: dict[str, Any] = {
        "along": min(mesh.size * factor, high - low),
        "through": max(1, round(mesh.elements / factor)),
        "edges_along": (),
        "edges_through": (),
        "divide": None,
        "around": max(8, 4 * round(mesh.around / factor / 4)),
    }
    for key in ("on_struts", "across_core"):
        size = getattr(mesh, key)
        if size is not None:
            update[key] = size * factor
    coarse = case.model_copy(update={"mesh": mesh.model_copy(update=update)})
    if case.fluid is None or case.fluid.sections is None:
        return coarse
    return coarse.model_copy(update={"fluid": _with_sections(coarse, case.fluid.sections, shape_of(case))})


def _with_sections(case: Case, sections: int, shape: Shape) -> FluidTable:
    """Return the fluid with a number of sections, but at most those that the mesh resolves."""
    assert case.fluid is not None
    return case.fluid.model_copy(update={"sections": min(sections, most_sections(case, shape))})


def _mesh(case: Case) -> MeshTable:
    """Return the mesh with its number of elements through a layer, or with the default accuracy."""
    mesh = case.mesh
    if mesh.accuracy is not None:
        return mesh
    flows = case.circuit is not None or case.fluid is not None or bool(case.feeds)
    chosen = mesh.model == "axisymmetric" and case.lattice is None and not flows
    if chosen and not mesh.given_sizes:
        return mesh.model_copy(update={"accuracy": ACCURACY})
    return mesh.model_copy(update={"through": mesh.elements})


def _part(part: PartTable, shape: Shape) -> PartTable:
    layer = next((layer for layer in shape.layers if layer.name == part.region), None)
    if layer is None:
        return part
    count = part.sheet_count
    sheets = SheetsTable.model_construct(count=count, thickness=layer.thickness / max(count, 1))
    return part.model_copy(update={"sheets": sheets})


def _electrode(electrode: ElectrodeTable, edges: tuple[float, float]) -> ElectrodeTable:
    start = edges[0] if electrode.start is None else electrode.start
    end = edges[1] if electrode.end is None else electrode.end
    return electrode.model_copy(update={"start": start, "end": end})


def _stage(
    stage: StageTable, number: int, electrodes: tuple[str, ...], beats: tuple[float, ...]
) -> StageTable:
    common = {name: stage.voltage["all"] for name in electrodes if "all" in stage.voltage}
    named = {name: value for name, value in stage.voltage.items() if name != "all" or not electrodes}
    targets = [control for control, driver in DRIVERS.items() if getattr(stage, driver.key)]
    implied = targets[0] if targets and stage.control == "load" else stage.control
    tolerance = stage.until_tolerance
    periodic = bool(stage.waves) or time_step_of(stage, beats) is not None
    return stage.model_copy(
        update={
            "name": stage.name or f"stage {number}",
            "voltage": common | named,
            "control": implied,
            "duration": duration_of(stage),
            "steps": stage.steps if periodic else steps_of(stage),
            "steps_per_period": STEPS_PER_PERIOD
            if periodic and (stage.steps, stage.steps_per_period) == (None, None)
            else stage.steps_per_period,
            "until_tolerance": TOLERANCE if stage.until and tolerance is None else tolerance,
        }
    )


def _set_only(value: Any) -> Any:
    """Remove values that are not set, because TOML has no null, and empty tables."""
    if isinstance(value, dict):
        entries = {key: _set_only(item) for key, item in value.items()}
        return {key: item for key, item in entries.items() if item not in (None, {}, [])}
    if isinstance(value, list | tuple):
        return [_set_only(item) for item in value]
    return value
