# SPDX-License-Identifier: MIT
"""Stability margins: how far each load alone may still rise from the working point."""

import math
from collections.abc import Mapping
from typing import NamedTuple

from annelid.solver.assembly.system import System
from annelid.solver.continuation.harmonic_turns import Passed, first_turn
from annelid.solver.continuation.harmonic_watch import HarmonicWatch
from annelid.solver.continuation.limit_search import search_ahead
from annelid.solver.continuation.limits_ahead import LimitsAhead
from annelid.solver.continuation.newton import Newton
from annelid.solver.continuation.stage_continuation import StageContinuation
from annelid.solver.display import DisplayUnits
from annelid.solver.errors import NoEquilibrium, SelfContact
from annelid.solver.model.limits_of_use import limit_words
from annelid.solver.model.loads import LOAD_KINDS, TOGETHER, LoadKind, Loads, describe
from annelid.solver.model.ramp import Ramp
from annelid.solver.model.stages import Stage
from annelid.solver.readout.evaluation import Evaluation
from annelid.solver.records import LimitAhead, Margin

SELF_CONTACT = "self-contact"
MOST_STEPS = 200  # arc steps of one search
_STEPS = 10  # requested steps of a search
_SMALLEST_STEP = 4  # parts of a step below which the search goes on along the arc
_ENOUGH = 1e-3  # of a step, to which a bifurcation is located
_SAME_PATH = 1e-3  # of the size of the part, between states so close to each other in load
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
        found.append(_margin(newton, load, ramp, furthest, evaluation, units, watch))
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


def _margin(
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
    stage = Stage("margin", steps=_STEPS, **targets)
    continuation = StageContinuation(newton, stage, ramp, evaluation.read_fields)
    evaluation.read_fields()
    passed = _Way(LimitsAhead(evaluation, units), newton.system)
    found = _search(continuation, passed, furthest)
    if watch.acts:
        found = _harmonic(watch, passed.states, evaluation) or found
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


class _Found(NamedTuple):
    """What ends a search; the present state is at it, on the stable side.

    Attributes:
        value: Multiple of the load.
        kind: Kind of the critical point, or ``SELF_CONTACT``; "" if there is neither.
        why: Why the search ended before its goal, "" if it did not.
    """

    value: float
    kind: str = ""
    why: str = ""


class _Way:
    """What a search passes on its way.

    Attributes:
        limits: Limits of the part.
        states: States, from the working point on.
    """

    def __init__(self, limits: LimitsAhead, system: System) -> None:
        self.limits = limits
        self.states = [Passed(None, 1.0, system.snapshot())]

    def observe(self, continuation: StageContinuation, s: float) -> None:
        """Note the present state at ``s``, whose fields have been read."""
        self.limits.observe(continuation, s)
        self.states.append(Passed(continuation, s, continuation.system.snapshot()))


def _harmonic(watch: HarmonicWatch, states: list[Passed], evaluation: Evaluation) -> _Found | None:
    """The first harmonic that turned on the way, which makes its state the present one; else ``None``."""
    system, present = evaluation.system, evaluation.system.snapshot()
    system.restore(states[-1].state)
    system.read_x()
    evaluation.read_fields()
    if unstable := watch.unstable():
        turn = first_turn(watch, states, unstable)
        assert turn.continuation is not None
        return _Found(turn.continuation.parameter_at(turn.s), turn.kind)
    system.restore(present)
    return None


def _search(continuation: StageContinuation, passed: _Way, furthest: float) -> _Found:
    """Raise the load in steps as far as states are found and stable, then look for what is ahead."""
    continuation.start_at(1.0)
    continuation.accept(1.0)
    whole = step = (furthest - 1) / _STEPS
    while (s := continuation.last.s) < furthest and step >= whole / _SMALLEST_STEP:
        target = min(s + step, furthest)
        try:
            if _is_stable(continuation, target):
                passed.observe(continuation, target)
                continuation.accept(target)
            elif found := _bifurcation(continuation, passed, target):
                return found
            else:
                break
        except NoEquilibrium:
            step /= 2
    if s >= furthest:
        return _Found(furthest)
    return _along_arc(continuation, passed, furthest, whole)


def _is_stable(continuation: StageContinuation, s: float) -> bool:
    """Advance to a load; whether the state there is stable. Its tangent is factorised."""
    continuation.advance(s)
    continuation.system.factorise()
    return continuation.system.unstable_modes() == 0


def _bifurcation(continuation: StageContinuation, passed: _Way, unstable: float) -> _Found | None:
    """The loss of stability between the last accepted and the present state, by bisection on the inertia.

    States on both sides are found under given loads, so that it is no limit point; many modes may be close
    together there, as in thin walls that wrinkle.

    Args:
        continuation: The growing load.
        passed: Sees the stable states.
        unstable: Load of the present state.

    Returns:
        The point; ``None`` if the states on both sides do not belong to one path.
    """
    system, width = continuation.system, unstable - continuation.last.s
    beyond = system.snapshot()
    continuation.go_back()
    while unstable - continuation.last.s > _ENOUGH * width:
        middle = (continuation.last.s + unstable) / 2
        try:
            if _is_stable(continuation, middle):
                passed.observe(continuation, middle)
                continuation.accept(middle)
                continue
        except NoEquilibrium:
            return None
        beyond, unstable = system.snapshot(), middle
        continuation.go_back()
    beyond.x.axpy(-1.0, continuation.last.state.x)
    apart, _ = continuation.newton.relative_motion(beyond.x)
    continuation.go_back()
    return _Found(continuation.last.s, "bifurcation") if apart < _SAME_PATH else None


def _along_arc(continuation: StageContinuation, passed: _Way, furthest: float, step: float) -> _Found:
    """Search along the arc from the last accepted state, past a maximum of the load."""
    continuation.system.restore(continuation.last.state, factorise=True)
    s, observe = continuation.last.s, passed.observe
    result = search_ahead(
        continuation, s, 0, furthest=furthest, step=step, most_steps=MOST_STEPS, observe=observe
    )
    if result.ahead is not None:
        return _Found(result.reached, result.ahead.critical.kind)
    kind = SELF_CONTACT if isinstance(result.failure, SelfContact) else ""
    return _Found(result.reached, kind, result.failure.message if result.failure else "")
