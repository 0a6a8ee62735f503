# SPDX-License-Identifier: MIT
"""Whether every load of the stages has something to act on in a model."""

from itertools import combinations
from math import isnan, nan

import numpy as np

from annelid.geometry.errors import InvalidValue, raise_first
from annelid.solver.constraints.rigid_motions import check_rigid_motions
from annelid.solver.constraints.supports import constraints_of
from annelid.solver.model import checks
from annelid.solver.model.flow_checks import check_flow_parts, check_flow_stages
from annelid.solver.model.load_checks import check_loaded_surfaces
from annelid.solver.model.model import Model
from annelid.solver.model.ramp import check_wave_starts
from annelid.solver.model.shared_edges import check_shared_edges
from annelid.solver.model.stages import Stage
from annelid.solver.model.twist_checks import check_twist


def check_stages(model: Model, stages: tuple[Stage, ...]) -> None:
    """Check that a model can be supported and loaded as requested, before it is solved.

    Raises:
        InvalidValue: Unknown electrode, surface or support; an obstacle with a negative radius; a pressure
            without a lumen, or a lumen whose open end is neither held along the axis nor closed by a plate; a
            pressure or dead force on a surface whose support takes it; a torque on an end that cannot turn; a
            support that its surface cannot have; natural stretch in a stage that may end early.
    """
    raise_first(check_twist(stages, model.supports, model.parts, model.inventory))
    check_rigid_motions(model, constraints_of(model.body, model.supports, twist=model.solved_twist))
    raise_first(checks.check_stages(stages, model.names, model.inventory))
    raise_first(checks.check_obstacles(stages, model.contacts))
    raise_first(check_wave_starts(stages, model.contacts))
    raise_first(checks.check_lumen(stages, model.supports, model.inventory))
    raise_first(check_loaded_surfaces(stages, model.supports, model.inventory))
    raise_first(
        check_shared_edges(
            stages, [s.region for s in model.supports if s.fixes_axial_motion], model.inventory
        )
    )
    raise_first(check_flow_stages(stages, model.flow))
    names = [electrode.name for electrode in model.electrodes]
    raise_first(check_flow_parts(model.flow, names, model.supports, model.contacts, model.inventory))
    raise_first(checks.check_weight(stages, [part.material for part in model.parts]))
    if model.drawn_pressure is None:
        _check_natural_stretch(model, stages[0])
    if model.solved_potential:
        _check_shared_faces(model, stages)


def _check_natural_stretch(model: Model, first: Stage) -> None:
    """The stage that applies the natural stretch is completed, so that the part is the one described."""
    stretched = [p.region for p in model.parts if np.any(np.asarray(p.natural_stretch.factors)[..., :3] != 1)]
    if first.until and stretched:
        raise InvalidValue(
            f"the first stage also applies the natural stretch of '{stretched[0]}', which must be complete: "
            "put a stage without until, and without loads, before it",
            key="until",
            subject=f"stage '{first.name}'",
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
        waves = {w.entry: w.waveform for w in stage.waves if w.attribute == "voltages"}
        for a, b in pairs:
            if waves.get(a) != waves.get(b):
                raise InvalidValue(
                    f"electrodes '{a}' and '{b}' touch but follow different waves: leave a gap between them",
                    key="waves",
                    subject=f"stage '{stage.name}'",
                )
            if isnan(voltages[a]) and isnan(voltages[b]):
                continue  # they share the voltage that is found
            if voltages[a] != voltages[b]:
                raise InvalidValue(
                    f"electrodes '{a}' and '{b}' touch but are set to {voltages[a]:g} and {voltages[b]:g} "
                    "kV: leave a gap between them, or give them one voltage",
                    key=f"voltage.{b}",
                    subject=f"stage '{stage.name}'",
                )


def _check_charged_faces(stage: Stage, pairs: list[tuple[str, str]]) -> None:
    for a, b in pairs:
        alone = {a, b} & set(stage.charges)
        if len(alone) == 1:
            raise InvalidValue(
                f"electrodes '{a}' and '{b}' touch and carry one charge: name both under charge",
                key=f"charge.{alone.pop()}",
                subject=f"stage '{stage.name}'",
            )
