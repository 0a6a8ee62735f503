# SPDX-License-Identifier: MIT
"""Stability margins: how far each load alone may still rise from the working point."""

import math
from collections.abc import Callable

from annelid.solver.continuation.limit_search import search_ahead
from annelid.solver.continuation.newton import Newton
from annelid.solver.continuation.stage_continuation import StageContinuation
from annelid.solver.display import DisplayUnits
from annelid.solver.errors import NoEquilibrium
from annelid.solver.model.loads import LOAD_KINDS, TOGETHER, LoadKind, Loads, describe
from annelid.solver.model.ramp import Ramp
from annelid.solver.model.stages import Stage
from annelid.solver.records import Margin

MOST_STEPS = 200  # arc steps of one search
_STEPS = 10  # requested steps of a search, if the part moves little
_NAMES = {
    ("limit point", "pressure"): "limit point (pressure maximum)",
    ("limit point", "voltage"): "limit point (pull-in)",
    ("bifurcation", ""): "bifurcation (the part buckles, bulges or necks into another shape)",
}
WITH_MARGIN = tuple(kind for kind in LOAD_KINDS if kind.margin)


def margins_ahead(
    newton: Newton,
    modes: int,
    furthest: float,
    read_fields: Callable[[], NoEquilibrium | None],
    units: DisplayUnits,
) -> tuple[Margin, ...]:
    """Margins of the present state, one for each load that acts and one for all of them together.

    Args:
        newton: The solver; the present state of its system is the working point and is restored afterwards.
        modes: Unstable modes there under given loads.
        furthest: Multiple of a load up to which a critical point is sought.
        read_fields: Reads the fields of a state; why no part can be in it, or ``None``.
        units: For the sentences.
    """
    system = newton.system
    acting = acting_loads(system.loads)
    if modes > 0:
        why = "the last state is unstable under given loads, so it has no margin"
        return tuple(Margin(load, math.nan, text=f"{load}: {why}") for load in acting)
    working = system.snapshot()
    found = []
    for load, without in acting.items():
        system.restore(working)
        ramp = Ramp(without, working.loads)
        found.append(_margin(newton, load, ramp, furthest, read_fields, units))
    system.restore(working, factorise=True)
    read_fields()
    return tuple(found)


def margins_missed(requested: Ramp, critical: Loads | None, kind: str, stage: str) -> tuple[Margin, ...]:
    """Margins of loads that a path did not reach: below 1 where it ended at a critical point.

    Args:
        requested: Loads of the stage in which the path ended.
        critical: Loads at the first critical point of that stage, ``None`` if none was located.
        kind: Kind of that point.
        stage: Name of the stage.
    """
    found = []
    for load in WITH_MARGIN:
        name, working = load.margin, requested.end.largest(load)
        if not working or working == requested.start.largest(load):
            continue
        if critical is None:
            text = f"{name}: the load of stage '{stage}' was not reached, and no critical point was located"
            found.append(Margin(name, math.nan, text=text))
            continue
        value = critical.largest(load) / working
        text = f"{name}: {_named(kind, name)} at {value:.4g} times the load that stage '{stage}' requests"
        found.append(Margin(name, value, kind=kind, text=text))
    return tuple(found)


def acting_loads(loads: Loads) -> dict[str, Loads]:
    """Kinds of load that act, each with the loads that are left without it."""
    present = [kind for kind in WITH_MARGIN if loads.largest(kind)]
    acting = {kind.margin: loads.without(kind) for kind in present}
    if len(acting) > 1:
        acting[TOGETHER] = _without_all(loads, present)
    return acting


def _without_all(loads: Loads, kinds: list[LoadKind]) -> Loads:
    for kind in kinds:
        loads = loads.without(kind)
    return loads


def _margin(
    newton: Newton,
    load: str,
    ramp: Ramp,
    furthest: float,
    read_fields: Callable[[], NoEquilibrium | None],
    units: DisplayUnits,
) -> Margin:
    """Seek the next critical point along one load; any state may be the present one afterwards."""
    end = ramp.end
    targets = {kind.attribute: getattr(end, kind.attribute) for kind in WITH_MARGIN}
    continuation = StageContinuation(newton, Stage("margin", steps=_STEPS, **targets), ramp, read_fields)
    continuation.start_at(1.0)
    step = (furthest - 1) / _STEPS
    result = search_ahead(continuation, 1.0, 0, furthest=furthest, step=step, most_steps=MOST_STEPS)
    ahead = result.ahead
    if ahead is not None:
        kind, at = ahead.critical.kind, describe(newton.system.loads, units)
        text = f"{load}: {_named(kind, load)} at {ahead.parameter:.4g} times the present value ({at})"
        return Margin(load, ahead.parameter, kind=kind, text=text)
    reached = min(result.reached, furthest)
    text = f"{load}: no critical point up to {reached:.4g} times the present value"
    if reached < furthest:
        text += f"; the search ended there ({result.why})"
    return Margin(load, reached, is_bound=True, text=text)


def _named(kind: str, load: str) -> str:
    return _NAMES.get((kind, load), _NAMES.get((kind, ""), kind))
