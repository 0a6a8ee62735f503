# SPDX-License-Identifier: MIT
"""Whether every load of the stages has something to act on."""

from collections.abc import Mapping
from itertools import combinations
from math import isnan, nan

import numpy as np

from annelid.geometry.errors import InputError
from annelid.solver.assembly.supports import moved_together
from annelid.solver.model.model import Model
from annelid.solver.model.stages import Stage


def check_stages(model: Model, stages: tuple[Stage, ...]) -> None:
    """Check that every load of the stages has something to act on.

    Raises:
        InputError: Unknown electrode, surface or support; a pressure without a lumen, or a lumen whose open
            end is neither held along the axis nor closed by a plate.
    """
    electrodes = [e.name for e in model.electrodes]
    movable = [s.region for s in model.supports if s.hold in ("all", "axial")]
    ends = [s for s in ("end_low", "end_high") if s in model.body.surfaces]
    for stage in stages:
        _known(stage, "voltage", stage.voltages, electrodes, "electrodes")
        _known(stage, "force", stage.forces, ends, "end surfaces")
        _known(stage, "obstacle", stage.obstacles, [c.name for c in model.contacts], "contacts")
        _known(stage, "charge", stage.charges, electrodes, "electrodes")
        if stage.opening is not None:
            sections = [section.name for section in model.sections]
            _known(stage, "opening", {stage.opening[0]: 0.0}, sections, "sections")
        if stage.point is not None and len(stage.point.position) != model.body.points.shape[1]:
            raise InputError(
                f"stage '{stage.name}': point.position has {len(stage.point.position)} coordinates; this "
                f"model has {model.body.points.shape[1]}",
                key="point.position",
            )
        _known(stage, "move", stage.displacements, movable, "supports that hold the axial motion")
        if stage.pressure or stage.volume is not None:
            _check_lumen(model, stage)
    _check_shared_edges(model, stages)
    if model.solved_potential:
        _check_shared_faces(model, stages)


def _check_shared_edges(model: Model, stages: tuple[Stage, ...]) -> None:
    """Nodes at the edge of two supports cannot follow two motions."""
    if not any(stage.displacements for stage in stages):
        return
    moves: dict[str, float] = {}
    pairs = moved_together(model.body, model.supports)
    for stage in stages:
        moves |= stage.displacements
        for a, b in pairs:
            one, two = moves.get(a, 0.0), moves.get(b, 0.0)
            if one != two:
                raise InputError(
                    f"stage '{stage.name}': supports '{a}' and '{b}' share an edge but are moved along the "
                    f"axis by {one:g} and {two:g} mm; move both alike, or let one of them go along the axis "
                    f"(hold = 'radial' or 'free')",
                    key=f"move.{a if a in stage.displacements else b}",
                    value=moves.get(a if a in stage.displacements else b),
                )


def _check_shared_faces(model: Model, stages: tuple[Stage, ...]) -> None:
    """Hot faces that meet are one conductor when the potential is solved: they carry one voltage."""
    body = model.body
    nodes = {e.name: body.surface_nodes(f"{e.name}.{e.hot_face}") for e in model.electrodes}
    pairs = [
        (a, b)
        for a, b in combinations(nodes, 2)
        if np.intersect1d(nodes[a], nodes[b], assume_unique=True).size
    ]
    voltages = dict.fromkeys(nodes, 0.0)
    for stage in stages:
        voltages |= stage.voltages
        if stage.charges:
            _check_charged_faces(stage, pairs)
            voltages |= dict.fromkeys(stage.charges, nan)
        for a, b in pairs:
            if isnan(voltages[a]) and isnan(voltages[b]):
                continue  # they share the voltage that is found
            if voltages[a] != voltages[b]:
                raise InputError(
                    f"stage '{stage.name}': electrodes '{a}' and '{b}' touch but are set to {voltages[a]:g} "
                    f"and {voltages[b]:g} kV; leave a gap between them, or give them one voltage",
                    key=f"voltage.{b}",
                    value=voltages[b],
                )


def _check_charged_faces(stage: Stage, pairs: list[tuple[str, str]]) -> None:
    for a, b in pairs:
        alone = {a, b} & set(stage.charges)
        if len(alone) == 1:
            raise InputError(
                f"stage '{stage.name}': electrodes '{a}' and '{b}' touch and carry one charge; name both "
                f"under charge",
                key=f"charge.{alone.pop()}",
            )


def _check_lumen(model: Model, stage: Stage) -> None:
    body = model.body
    if "lumen" not in body.surfaces:
        raise InputError(
            f"stage '{stage.name}': a pressure or volume needs a lumen; this body has none", key="lumen"
        )
    rim = set(body.facets[body.surfaces["lumen"]].ravel().tolist())
    held = {s.region for s in model.supports if s.hold != "radial"}
    for end in ("end_low", "end_high"):
        if end in body.surfaces and end not in held:
            nodes = body.facets[body.surfaces[end]].ravel().tolist()
            if rim.intersection(nodes):
                raise InputError(
                    f"stage '{stage.name}': the lumen is open at '{end}', which is free along the axis, so "
                    f"the pressure would act on nothing there; hold it (hold = 'axial' or 'all'), close it "
                    f"with a plate (hold = 'plate'), or say hold = 'free' if the pressure is to act on the "
                    f"wall alone",
                    key=end,
                )


def _known(stage: Stage, key: str, given: Mapping[str, float], known: list[str], what: str) -> None:
    for name in given:
        if name not in known:
            raise InputError(
                f"stage '{stage.name}': {key} names '{name}'; the {what} are: {', '.join(known) or 'none'}",
                key=f"{key}.{name}",
            )
