# SPDX-License-Identifier: MIT
"""Search along the arc for the critical point ahead of a load-controlled stage."""

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from annelid.solver.continuation.critical_points import CriticalState, locate
from annelid.solver.continuation.stage_continuation import StageContinuation
from annelid.solver.errors import NoEquilibrium, SelfContact

MOST_STEPS = 40  # arc steps of a search
_SMALLEST, _LARGEST = 1e-4, 0.02  # arc steps over the size of the part


@dataclass(frozen=True)
class CriticalAhead:
    """A critical point ahead of a load-controlled stage.

    Attributes:
        critical: The point; it is the present state, factorised.
        parameter: Stage parameter there.
        arc: The continuation by arc length that passes it.
    """

    critical: CriticalState
    parameter: float
    arc: StageContinuation


@dataclass(frozen=True)
class SearchResult:
    """Result of a search along the arc.

    Attributes:
        ahead: The critical point, ``None`` if there is none.
        reached: Stage parameter up to which the path was followed.
        failure: Why the search ended before its goal; ``None`` if it did not.
    """

    ahead: CriticalAhead | None
    reached: float
    failure: NoEquilibrium | None = None


def has_arc(continuation: StageContinuation) -> bool:
    """Whether a stage has loads that an arc can scale: it names some, and they do not follow waves."""
    return continuation.stage.names_loads and not continuation.stage.waves


def arc_from(continuation: StageContinuation, parameter: float) -> StageContinuation:
    """A continuation by arc length from the present state.

    It is as long as what is left of an arc of the stage, else without end.

    Args:
        continuation: The stage; its last accepted state is the present one.
        parameter: Stage parameter of that state.
    """
    stage = continuation.stage
    left = 100 * continuation.newton.scales.length
    if stage.arc is not None:
        left = stage.arc - continuation.last.s
    untimed = replace(stage, duration=None, time_step=None)
    arc = replace(untimed, control="arc", arc=left, volume=None, charges={}, point=None, opening=None)
    return StageContinuation(
        continuation.newton, arc, continuation.ramp, continuation.read_fields, multiplier=parameter
    )


def arc_step(arc: StageContinuation, whole: float) -> float:
    """An arc step that moves the part about a quarter as far as a load step, within bounds.

    The bounds go with the size of the part and how far it has moved: a film stretched fivefold is larger.

    Args:
        arc: The continuation.
        whole: Load step, of the stage parameter.
    """
    length = arc.newton.scales.length + arc.arc_condition.norm(arc.last.state.x)
    per_load = 1 / max(abs(arc.last.rate), 1e-300)
    return float(np.clip(per_load * whole / 4, _SMALLEST * length, _LARGEST * length))


def critical_ahead(
    continuation: StageContinuation, parameter: float, modes: int, *, furthest: float = 1.0
) -> CriticalAhead | None:
    """The first critical point before the loads reach ``furthest`` of the stage; see ``search_ahead``."""
    step = 1.0 / continuation.stage.steps
    return search_ahead(continuation, parameter, modes, furthest=furthest, step=step).ahead


def search_ahead(
    continuation: StageContinuation,
    parameter: float,
    modes: int,
    *,
    furthest: float,
    step: float,
    most_steps: int = MOST_STEPS,
    observe: Callable[[StageContinuation, float], None] | None = None,
) -> SearchResult:
    """Search along the arc for the first critical point before the loads reach ``furthest`` of the stage.

    Args:
        continuation: A load-controlled stage at its last accepted state.
        parameter: Stage parameter of that state.
        modes: Unstable modes there.
        furthest: Stage parameter at which the search ends.
        step: Step of the stage parameter; arc steps move the part about a quarter as far.
        most_steps: Arc steps after which the search ends.
        observe: Called with the arc and the position of every state found, which is the present one.

    Returns:
        The point, or how far there is none (the caller restores the state it needs in both cases).
    """
    arc, system = arc_from(continuation, parameter), continuation.system
    try:
        arc.start()
        ds = first = arc_step(arc, step)
        s = 0.0
        for _ in range(most_steps):
            s = _advance(arc, s, ds)
            system.factorise()
            count = system.unstable_modes()
            if count != modes:
                try:
                    critical = locate(arc, s, modes, count)[0]
                except NoEquilibrium:
                    # The step may have left the path: in thin walls other shapes are near.
                    if ds < 1e-3 * first:
                        raise
                    s, ds = arc.last.s, ds / 4
                    arc.go_back()
                    continue
                return _at_critical_point(arc, critical, observe)
            if observe is not None:
                observe(arc, s)
            if system.multiplier >= furthest:
                return SearchResult(None, system.multiplier)
            arc.accept(s)
            ds = min(1.5 * ds, arc_step(arc, step))
    except NoEquilibrium as failure:
        return SearchResult(None, arc.last.state.multiplier, failure)
    return SearchResult(None, arc.last.state.multiplier, NoEquilibrium(f"{most_steps} steps"))


def _at_critical_point(
    arc: StageContinuation,
    critical: CriticalState,
    observe: Callable[[StageContinuation, float], None] | None,
) -> SearchResult:
    arc.system.restore(critical.state, factorise=True)
    if observe is not None:
        arc.read_fields()
        observe(arc, critical.s)
    λ = arc.system.multiplier
    return SearchResult(CriticalAhead(critical, λ, arc), λ)


def _advance(arc: StageContinuation, s: float, step: float) -> float:
    """One arc step, halved up to six times."""
    for _ in range(6):
        try:
            arc.advance(s + step)
        except NoEquilibrium as error:
            step, failure = step / 2, error
            continue
        return s + step
    if isinstance(failure, SelfContact):
        raise failure
    raise NoEquilibrium(f"the arc could not be followed: {failure.message}", step=step)
