# SPDX-License-Identifier: MIT
"""The 3-D case that follows a branch on which an axisymmetric part gets waves around its axis."""

import math
from collections.abc import Mapping
from typing import Any, NamedTuple

import numpy as np

from annelid.cases.convert.path import stage_of
from annelid.cases.schema.case import Case
from annelid.cases.schema.imperfection import ImperfectionPointsTable
from annelid.cases.schema.mesh import MeshTable
from annelid.cases.schema.stage import RequirementTable, StageTable, SupportTable
from annelid.cases.schema.units import as_read
from annelid.cases.validate.reported import known_quantities
from annelid.geometry.body import FloatArray, IntArray
from annelid.geometry.errors import InputError
from annelid.solver.model.harmonic_words import harmonic_words

__all__ = ["BranchPoint", "branch_case"]

_ELEMENTS = 8  # in half a wave; also the least in a quarter of the part
_STEPS = 30
_BEYOND = 0.5  # of the outer radius over m: root mean square motion along the branch
_HELD = 1e-6  # of the largest amplitude
_SHARPEST = 12.0  # degrees; cells with a sharper tip are refused
_TOUCH = 1e-9  # mm; nodes closer to the axis lie on it


class BranchPoint(NamedTuple):
    """Where a branch begins.

    Attributes:
        waves: Number of waves m around the axis.
        stage: Name of the stage.
        motion: Root mean square motion of the part in this stage up to there, mm.
        places: Nodes (R, Z) of the meridian, shape (n, 2), mm.
        mode: Amplitudes (a, b, c) of the mode at the nodes, shape (n, 3).
        planes: Nodes on a plane of symmetry, by its name.
    """

    waves: int
    stage: str
    motion: float
    places: FloatArray
    mode: FloatArray
    planes: Mapping[str, IntArray]


def branch_case(case: Case, point: BranchPoint, *, size: float, arc: float | None = None) -> Case:
    """Return the case of a sector of half a wave or more that is drawn with an imperfection along the mode.

    The planes of the sector are where a cos mθ has its extremes, which are planes of symmetry of the branch.
    The stage in which it begins is the last one. If the case gives its loads, they follow the length of the
    path instead, since they may fall along the branch.

    Args:
        case: The resolved axisymmetric case.
        point: Where the branch begins.
        size: Largest displacement of the imperfection, mm.
        arc: Length of the path of that stage; by default a length along the branch that depends on m.

    Raises:
        InputError: The part has a plane of symmetry about which the mode is not symmetric.
    """
    _check_planes(point)
    names = [stage.name for stage in case.stages]
    last = names.index(point.stage)
    length = point.motion + _BEYOND * float(point.places[:, 0].max()) / point.waves if arc is None else arc
    stages = (*case.stages[:last], _along_arc(case, case.stages[last], length))
    per_wave = 2 * max(_ELEMENTS, 2 * _ELEMENTS // point.waves)
    mesh = {
        "model": "sector",
        "sector": _sector(point),
        "around": per_wave * point.waves,
        **_even_sizes(case.mesh),
    }
    words = harmonic_words(point.waves)
    notes = f"The branch on which the part {words}, with a drawn deviation along this mode. {case.notes}"
    sector = case.model_copy(
        update={
            "title": f"{case.title}: {words}",
            "notes": notes.strip(),
            "imperfection": _imperfection(point, size),
            "mesh": case.mesh.model_copy(update=mesh),
            "supports": _supports(case, point.waves),
            "stages": stages,
            "path": case.path.model_copy(update={"seek_limit": None}),
        }
    )
    return sector.model_copy(update={"requirements": _requirements(sector)})


def _even_sizes(mesh: MeshTable) -> dict[str, Any]:
    """Sizes of even elements in place of given edges: as many along and through the wall."""
    if not mesh.edges_along:
        return {}
    even = {"edges_along": (), "edges_through": (), "divide": None}
    length = mesh.edges_along[-1] - mesh.edges_along[0]
    return even | {"along": as_read(length / (len(mesh.edges_along) - 1) / mesh.pieces)}


def _sector(point: BranchPoint) -> float:
    """Half a wave, or several where the tip of a sector on the axis would be too sharp; degrees."""
    half = 180.0 / point.waves
    on_axis = point.places[:, 0].min() < _TOUCH
    return half * math.ceil(_SHARPEST / half) if on_axis else half


def _check_planes(point: BranchPoint) -> None:
    least = _HELD * np.abs(point.mode).max()
    for plane, nodes in point.planes.items():
        across, *_ = np.abs(point.mode[nodes][:, [2, 0, 1]]).max(axis=0)
        if across > least:
            raise InputError(
                f"support '{plane}': the mode is the opposite of its mirror image about this plane of "
                "symmetry, so that a half of the part cannot follow it: draw the whole length of the part",
                key="hold",
            )


def _imperfection(point: BranchPoint, size: float) -> ImperfectionPointsTable:
    radius, height = (tuple(values.tolist()) for values in point.places.T)
    outwards, around, along = (tuple(values.tolist()) for values in point.mode.T)
    return ImperfectionPointsTable.model_construct(
        kind="points",
        waves=point.waves,
        size=size,
        radius=radius,
        height=height,
        outwards=outwards,
        around=around,
        along=along,
    )


def _along_arc(case: Case, stage: StageTable, length: float) -> StageTable:
    """A stage of given loads as one of given length; others stay."""
    if stage.control != "load" or stage.waves or stage.duration or not stage_of(case, stage).names_loads:
        return stage
    return stage.model_copy(update={"control": "arc", "arc": length, "steps": _STEPS})


def _supports(case: Case, waves: int) -> tuple[SupportTable, ...]:
    """The supports; a part that bends must not move sideways as a rigid body."""
    held = any(s.hold in ("all", "radial", "plate all", "rigid motion") for s in case.supports)
    if waves > 1 or held or any(f.direction == "all" for f in case.foundations):
        return case.supports
    taken = {s.region for s in case.supports}
    free = next((surface for surface in ("outer", "lumen") if surface not in taken), None)
    if free is None:
        raise InputError(
            "supports: both 'outer' and 'lumen' have one, so that neither can hold the part against moving "
            "sideways: hold an end, or leave one of them free",
            key="supports",
        )
    return (*case.supports, SupportTable.model_construct(region=free, hold="rigid motion"))


def _requirements(case: Case) -> tuple[RequirementTable, ...]:
    """The requirements on what a run of the sector reports."""
    known, stages = set(known_quantities(case)), {None, *(stage.name for stage in case.stages)}
    return tuple(r for r in case.requirements if r.quantity in known and r.stage in stages)
