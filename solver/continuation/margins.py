# SPDX-License-Identifier: MIT
"""Stability margins: how far each load alone may still rise from the working point."""

import math

from annelid.solver.continuation.limit_search import SearchResult, search_ahead
from annelid.solver.continuation.limits_ahead import LimitsAhead
from annelid.solver.continuation.newton import Newton
from annelid.solver.continuation.stage_continuation import StageContinuation
from annelid.solver.display import DisplayUnits
from annelid.solver.errors import SelfContact
from annelid.solver.model.loads import LOAD_KINDS, TOGETHER, LoadKind, Loads, describe
from annelid.solver.model.ramp import Ramp
from annelid.solver.model.stages import Stage
from annelid.solver.readout.evaluation import Evaluation
from annelid.solver.records import LimitAhead, Margin

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
    evaluation: Evaluation,
    units: DisplayUnits,
) -> tuple[Margin, ...]:
    """Margins of the present state, one for each load that acts and one for all of them together.

    Args:
        newton: The solver; the present state of its system is the working point and is restored afterwards.
        modes: Unstable modes there under given loads.
        furthest: Multiple of a load up to which a critical point is sought.
        evaluation: Reads the states.
        units: For the sentences.
    """
    system = newton.system
    acting = acting_loads(system.loads)
    if modes > 0:
        why = "the state is unstable under given loads, so it has no margin"
        return tuple(Margin(load, math.nan, text=f"{load}: {why}") for load in acting)
    working = system.snapshot()
    found = []
    for load, without in acting.items():
        system.restore(working, factorise=True)
        ramp = Ramp(without, working.loads)
        found.append(_margin(newton, load, ramp, furthest, evaluation, units))
    system.restore(working, factorise=True)
    evaluation.read_fields()
    return tuple(found)


def margins_missed(
    requested: Ramp, critical: Loads | None, kind: str, stage: str, units: DisplayUnits
) -> tuple[Margin, ...]:
    """Margins of loads that a path did not reach: below 1 where it ended at a critical point.

    Args:
        requested: Loads of the stage in which the path ended.
        critical: Loads at the first critical point of that stage, or where walls touch; ``None`` if neither
            was located.
        kind: Kind of that point, or ``"self-contact"``.
        stage: Name of the stage.
        units: For the sentences.
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
        limits = (LimitAhead(kind, value, describe(critical, units)),)
        found.append(Margin(name, value, kind=kind, text=text, limits=limits))
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
    evaluation: Evaluation,
    units: DisplayUnits,
) -> Margin:
    """Seek the next critical point along one load; any state may be the present one afterwards."""
    end = ramp.end
    targets = {kind.attribute: getattr(end, kind.attribute) for kind in WITH_MARGIN}
    stage = Stage("margin", steps=_STEPS, **targets)
    continuation = StageContinuation(newton, stage, ramp, evaluation.read_fields)
    continuation.start_at(1.0)
    evaluation.read_fields()
    passed = LimitsAhead(evaluation, units)
    step = (furthest - 1) / _STEPS
    result = search_ahead(
        continuation, 1.0, 0, furthest=furthest, step=step, most_steps=MOST_STEPS, observe=passed.observe
    )
    at = describe(newton.system.loads, units)
    limits = (*(limit for limit in passed.found if limit.value <= furthest), *_last(result, at))
    if result.ahead is not None:
        value, kind = result.reached, result.ahead.critical.kind
        text = f"{load}: {_named(kind, load)} at {value:.4g} times the present value ({at})"
        return Margin(load, value, kind=kind, text=text, limits=limits)
    reached = min(result.reached, furthest)
    text = f"{load}: no critical point up to {reached:.4g} times the present value"
    if result.failure is not None:
        text += f"; the search ended there ({result.failure.message})"
    return Margin(load, reached, is_bound=True, text=text, limits=limits)


def _last(result: SearchResult, at: str) -> tuple[LimitAhead, ...]:
    """What ends the search: a critical point, or walls that touch each other; the last state is at it."""
    if result.ahead is not None:
        return (LimitAhead(result.ahead.critical.kind, result.reached, at),)
    return (
        (LimitAhead("self-contact", result.reached, at),) if isinstance(result.failure, SelfContact) else ()
    )


def _named(kind: str, load: str) -> str:
    return _NAMES.get((kind, load), _NAMES.get((kind, ""), kind))
