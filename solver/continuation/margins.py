# SPDX-License-Identifier: MIT
"""How far the working point is from its next critical point, as each load grows by itself."""

import math
from collections.abc import Callable
from dataclasses import replace

from annelid.solver.continuation.limit_search import search_ahead
from annelid.solver.continuation.newton import Newton
from annelid.solver.continuation.stage_continuation import Track
from annelid.solver.model.loads import Loads, describe
from annelid.solver.model.motion import Motion
from annelid.solver.model.stages import Stage
from annelid.solver.records import Margin

TOGETHER = "all loads"
MOST_STEPS = 200  # arc steps of one search
_STEPS = 10  # wanted steps of a search, if the part moves little
_NAMES = {
    ("limit point", "pressure"): "limit point (pressure maximum)",
    ("limit point", "voltage"): "limit point (pull-in)",
    ("bifurcation", ""): "bifurcation (another shape such as a buckle, bulge or neck branches off)",
}


def margins_ahead(
    newton: Newton, loads: Loads, modes: int, furthest: float, upright: Callable[[], bool]
) -> tuple[Margin, ...]:
    """Margins of the present state, one for each load that acts and one for all of them together.

    Args:
        newton: The solver; the present state of its system is the working point and is so again afterwards.
        loads: Loads there.
        modes: Unstable modes there under given loads.
        furthest: Multiple of a load up to which a critical point is sought.
        upright: Reads the fields of a state; False if the part is turned inside out.
    """
    acting = acting_loads(loads)
    if modes > 0:
        why = "the last state is unstable under given loads, so there is no margin to speak of"
        return tuple(Margin(load, math.nan, text=f"{load}: {why}") for load in acting)
    kept = newton.system.x.copy()
    found = []
    for load, without in acting.items():
        kept.copy(newton.system.x)
        newton.system.apply(loads)
        newton.factorised = False
        found.append(_margin(newton, load, Motion(without, loads), furthest, upright))
    kept.copy(newton.system.x)
    newton.system.apply(loads)
    newton.system.assemble_residual()
    newton.system.factorise()
    upright()
    return tuple(found)


def margins_missed(asked: Motion, critical: Loads | None, kind: str, stage: str) -> tuple[Margin, ...]:
    """Margins of loads that a path did not reach: below 1 where it ended at a critical point.

    Args:
        asked: Motion of the stage in which the path ended.
        critical: Loads at the first critical point of that stage, ``None`` if none was located.
        kind: Kind of that point.
        stage: Name of the stage.
    """
    found = []
    for load in acting_loads(asked.end):
        working, moved = _size(asked.end, load), _size(asked.end, load) != _size(asked.start, load)
        if load == TOGETHER or not moved:
            continue
        value = math.nan if critical is None else _size(critical, load) / working
        text = f"{load}: what stage '{stage}' asks for was not reached, and no critical point was located"
        if critical is not None:
            text = f"{load}: {_named(kind, load)} at {value:.4g} times what stage '{stage}' asks for"
        found.append(Margin(load, value, kind=kind if critical is not None else "", text=text))
    return tuple(found)


def acting_loads(loads: Loads) -> dict[str, Loads]:
    """Kinds of load that act, each with the loads that are left without it."""
    none = {
        "pressure": replace(loads, pressure=0.0),
        "voltage": replace(loads, voltages=dict.fromkeys(loads.voltages, 0.0)),
        "force": replace(loads, forces=dict.fromkeys(loads.forces, 0.0)),
        "move": replace(loads, displacements=dict.fromkeys(loads.displacements, 0.0)),
    }
    acting = {load: without for load, without in none.items() if _size(loads, load)}
    if len(acting) > 1:
        acting[TOGETHER] = Loads(
            voltages=none["voltage"].voltages,
            forces=none["force"].forces,
            displacements=none["move"].displacements,
            obstacles=loads.obstacles,
            natural=loads.natural,
        )
    return acting


def _margin(
    newton: Newton, load: str, motion: Motion, furthest: float, upright: Callable[[], bool]
) -> Margin:
    """Seek the next critical point along one load; the present state is left anywhere."""
    end = motion.end
    stage = Stage(
        "margin",
        pressure=end.pressure,
        voltages=end.voltages,
        forces=end.forces,
        displacements=end.displacements,
        steps=_STEPS,
    )
    track = Track(newton, stage, motion, upright)
    track.mark.s, track.mark.loads = 1.0, motion.end
    newton.system.x.copy(track.mark.x)
    ahead = search_ahead(
        track, 1.0, 0, furthest=furthest, step=(furthest - 1) / _STEPS, most_steps=MOST_STEPS
    )
    limit = ahead.limit
    if limit is not None:
        kind = limit.critical.kind
        at = describe(track.loads())
        text = f"{load}: {_named(kind, load)} at {limit.share:.4g} times the present value ({at})"
        return Margin(load, limit.share, kind=kind, text=text)
    reached = min(ahead.reached, furthest)
    text = f"{load}: no critical point up to {reached:.4g} times the present value"
    if reached < furthest:
        text += f"; the search broke off there ({ahead.why})"
    return Margin(load, reached, is_bound=True, text=text)


def _named(kind: str, load: str) -> str:
    return _NAMES.get((kind, load), _NAMES.get((kind, ""), kind))


def _size(loads: Loads, load: str) -> float:
    """The value of one kind of load, of several the largest in size."""
    if load == "pressure":
        return loads.pressure
    given = {"voltage": loads.voltages, "force": loads.forces, "move": loads.displacements}.get(load, {})
    return max(given.values(), key=abs, default=0.0)
