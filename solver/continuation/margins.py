# SPDX-License-Identifier: MIT
"""Stability margins: how far each load alone may still rise from the working point."""

import math
from collections.abc import Mapping

from annelid.solver.continuation.harmonic_watch import HarmonicWatch
from annelid.solver.continuation.limits_ahead import LimitsAhead
from annelid.solver.continuation.margin_search import SELF_CONTACT, STEPS, Way, first_harmonic, search
from annelid.solver.continuation.newton import Newton
from annelid.solver.continuation.stage_continuation import StageContinuation
from annelid.solver.display import DisplayUnits
from annelid.solver.model.limits_of_use import limit_words
from annelid.solver.model.loads import LOAD_KINDS, TOGETHER, LoadKind, Loads, describe
from annelid.solver.model.ramp import Ramp
from annelid.solver.model.stages import Stage
from annelid.solver.readout.evaluation import Evaluation
from annelid.solver.records import LimitAhead, Margin

WITH_MARGIN = tuple(kind for kind in LOAD_KINDS if kind.margin)


def margins_ahead(
    newton: Newton,
    modes: int,
    furthest: float,
    evaluation: Evaluation,
    units: DisplayUnits,
    watch: HarmonicWatch,
) -> tuple[Margin, ...]:
    """Margins of the present state, one for each load that acts and one for all of them together.

    Args:
        newton: The solver; the present state of its system is the working point and is restored afterwards.
        modes: Unstable modes there under given loads.
        furthest: Multiple of a load up to which a critical point is sought.
        evaluation: Reads the states.
        units: For the sentences.
        watch: Judges the last state of each search against waves around the axis.
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
        found.append(margin_along(newton, load, ramp, furthest, evaluation, units, watch))
    system.restore(working, factorise=True)
    evaluation.read_fields()
    return tuple(found)


def margins_missed(
    requested: Ramp,
    critical: Loads | None,
    kind: str,
    stage: str,
    passed: Mapping[str, Loads],
    units: DisplayUnits,
) -> tuple[Margin, ...]:
    """Margins of loads that a path did not reach: below 1 where it ended at a critical point.

    Args:
        requested: Loads of the stage in which the path ended.
        critical: Loads at the first critical point of that stage, or where walls touch; ``None`` if neither
            was located.
        kind: Kind of that point, or ``"self-contact"``.
        stage: Name of the stage.
        passed: Loads of the first state of the stage beyond each limit of the part.
        units: For the sentences.
    """
    found = []
    for load in WITH_MARGIN:
        name, working = load.margin, requested.end.largest(load)
        if not working or working == requested.start.largest(load):
            continue
        limits = [
            LimitAhead(limit, loads.largest(load) / working, describe(loads, units), is_bound=True)
            for limit, loads in passed.items()
        ]
        if critical is None:
            text = f"{name}: the load of stage '{stage}' was not reached, and no critical point was located"
            found.append(Margin(name, math.nan, text=text, limits=tuple(limits)))
            continue
        value = critical.largest(load) / working
        limits.append(LimitAhead(kind, value, describe(critical, units)))
        limits.sort(key=lambda limit: limit.value)
        text = (
            f"{name}: {limit_words(kind, name)} at {value:.4g} times the load that stage '{stage}' requests"
        )
        found.append(Margin(name, value, kind=kind, text=text, limits=tuple(limits)))
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


def margin_along(
    newton: Newton,
    load: str,
    ramp: Ramp,
    furthest: float,
    evaluation: Evaluation,
    units: DisplayUnits,
    watch: HarmonicWatch,
) -> Margin:
    """Seek the next critical point along one load; any state may be the present one afterwards."""
    end = ramp.end
    targets = {kind.attribute: getattr(end, kind.attribute) for kind in WITH_MARGIN}
    stage = Stage("margin", steps=STEPS, **targets)
    continuation = StageContinuation(newton, stage, ramp, evaluation.read_fields)
    evaluation.read_fields()
    passed = Way(LimitsAhead(evaluation, units), newton.system)
    found = search(continuation, passed, furthest)
    if watch.acts:
        found = first_harmonic(watch, passed.states, evaluation) or found
    at = describe(newton.system.loads, units)
    last = (LimitAhead(found.kind, found.value, at),) if found.kind else ()
    limits = (*(limit for limit in passed.limits.found if limit.value <= min(found.value, furthest)), *last)
    if found.kind and found.kind != SELF_CONTACT:
        text = f"{load}: {limit_words(found.kind, load)} at {found.value:.4g} times the present value ({at})"
        return Margin(load, found.value, kind=found.kind, text=text, limits=limits)
    reached = min(found.value, furthest)
    text = f"{load}: no critical point up to {reached:.4g} times the present value"
    if found.why:
        text += f"; the search ended there ({found.why})"
    return Margin(load, reached, is_bound=True, text=text, limits=limits)
