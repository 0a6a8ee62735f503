# SPDX-License-Identifier: MIT
"""The search for the next critical point along a growing load."""

from typing import NamedTuple

from annelid.solver.assembly.system import System
from annelid.solver.continuation.harmonic_turns import Passed, first_turn
from annelid.solver.continuation.harmonic_watch import HarmonicWatch
from annelid.solver.continuation.limit_search import search_ahead
from annelid.solver.continuation.limits_ahead import LimitsAhead
from annelid.solver.continuation.stage_continuation import StageContinuation
from annelid.solver.errors import NoEquilibrium, SelfContact
from annelid.solver.readout.evaluation import Evaluation

SELF_CONTACT = "self-contact"
MOST_STEPS = 200  # arc steps of one search
STEPS = 10  # requested steps of a search
_SMALLEST_STEP = 4  # parts of a step below which the search goes on along the arc
_ENOUGH = 1e-3  # of a step, to which a bifurcation is located
_SAME_PATH = 1e-3  # of the size of the part, between states so close to each other in load


class Found(NamedTuple):
    """What ends a search; the present state is at it, on the stable side.

    Attributes:
        value: Multiple of the load.
        kind: Kind of the critical point, or ``SELF_CONTACT``; "" if there is neither.
        why: Why the search ended before its goal, "" if it did not.
    """

    value: float
    kind: str = ""
    why: str = ""


class Way:
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


def first_harmonic(watch: HarmonicWatch, states: list[Passed], evaluation: Evaluation) -> Found | None:
    """The first harmonic that turned on the way, which makes its state the present one; else ``None``."""
    system, present = evaluation.system, evaluation.system.snapshot()
    system.restore(states[-1].state)
    system.read_x()
    evaluation.read_fields()
    if unstable := watch.unstable(first_only=True):
        turn = first_turn(watch, states, unstable, begins_stable=True)
        assert turn.continuation is not None
        return Found(turn.continuation.parameter_at(turn.s), turn.kind)
    system.restore(present)
    return None


def search(continuation: StageContinuation, passed: Way, furthest: float) -> Found:
    """Raise the load in steps as far as states are found and stable, then look for what is ahead."""
    continuation.start_at(1.0)
    continuation.accept(1.0)
    whole = step = (furthest - 1) / STEPS
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
        return Found(furthest)
    return _along_arc(continuation, passed, furthest, whole)


def _is_stable(continuation: StageContinuation, s: float) -> bool:
    """Advance to a load; whether the state there is stable. Its tangent is factorised."""
    continuation.advance(s)
    continuation.system.factorise()
    return continuation.system.unstable_modes() == 0


def _bifurcation(continuation: StageContinuation, passed: Way, unstable: float) -> Found | None:
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
    return Found(continuation.last.s, "bifurcation") if apart < _SAME_PATH else None


def _along_arc(continuation: StageContinuation, passed: Way, furthest: float, step: float) -> Found:
    """Search along the arc from the last accepted state, past a maximum of the load."""
    continuation.system.restore(continuation.last.state, factorise=True)
    s, observe = continuation.last.s, passed.observe
    result = search_ahead(
        continuation, s, 0, furthest=furthest, step=step, most_steps=MOST_STEPS, observe=observe
    )
    if result.ahead is not None:
        return Found(result.reached, result.ahead.critical.kind)
    kind = SELF_CONTACT if isinstance(result.failure, SelfContact) else ""
    return Found(result.reached, kind, result.failure.message if result.failure else "")
