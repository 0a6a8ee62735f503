# SPDX-License-Identifier: MIT
"""Where a part in a flow becomes unstable or snaps: critical points in time."""

from annelid.solver.continuation.critical_points import CriticalState
from annelid.solver.continuation.eigenmodes import softest_mode
from annelid.solver.continuation.flow_continuation import FlowContinuation
from annelid.solver.continuation.newton import Convergence
from annelid.solver.continuation.stage_curve import SAME
from annelid.solver.continuation.unstable_modes import UnstableModes, count_modes
from annelid.solver.errors import NoEquilibrium

_ENOUGH = 1e-3  # of a step in time
_BEHIND = 4.0  # steps that failed, within which a fold is behind the last state


def first_unstable(
    continuation: FlowContinuation,
    s: float,
    convergence: Convergence,
    before: UnstableModes,
    after: UnstableModes,
) -> tuple[CriticalState, UnstableModes]:
    """The first state of a step at which more modes are unstable while volumes and charges are held.

    Every state tried is a step in time from the last accepted one. That found is the present one, factorised;
    it is a bifurcation if a mode lost its stiffness under given loads, and a limit point if volumes and
    charges no longer hold one.

    Args:
        continuation: The stage at its last accepted state.
        s: Position of the present state, which is unstable.
        convergence: Of the present state.
        before: Modes of the last accepted state.
        after: Modes of the present state.

    Returns:
        The critical point, and the modes of its state.

    Raises:
        NoEquilibrium: A state that was found before was not found again.
    """
    newton, start = continuation.newton, continuation.last.s
    low, high, solves = start, s, 0
    while high - low > _ENOUGH * (s - start):
        middle, solves = (low + high) / 2, solves + 1
        try:
            tried = continuation.solve_between(middle)
            modes = count_modes(newton, continuation)
        except NoEquilibrium:
            break  # it stays between the states beside it
        if modes.controlled > before.controlled:
            high, convergence, after = middle, tried, modes
        else:
            low, before = middle, modes
    continuation.settle(high)
    newton.system.factorise()
    kind = "bifurcation" if after.given > before.given else "limit point"
    mode = softest_mode(newton.system) if kind == "bifurcation" else continuation.coupled.softest_held()
    count = after.controlled - before.controlled
    return CriticalState(kind, high, mode, convergence, solves, newton.system.snapshot(), count), after


def fold_behind(continuation: FlowContinuation, step: float) -> tuple[CriticalState, float] | None:
    """The limit point in time just behind the last accepted state, if there is one.

    The stiffness μ of the softest mode, while volumes and charges are held, falls to zero there like
    √(t* - t), so the last two states give t*.

    Args:
        continuation: The stage, at the end of its path.
        step: Step that was not found from the last accepted state.

    Returns:
        The last accepted state, which is the present one, factorised; and s at t*.
    """
    before, last = continuation.before, continuation.last
    if before is None:
        return None
    newton, modes = continuation.newton, []
    try:
        for state in (before[1], last.state):
            newton.system.restore(state, factorise=True)
            modes.append(continuation.coupled.softest_held())
    except NoEquilibrium:
        return None
    finally:
        continuation.settle(last.s)
    early, late = (mode.stiffness for mode in modes)
    if not 0 < late < early:
        return None
    s = last.s + (last.s - before[0]) * late**2 / (early**2 - late**2)
    if s > last.s + max(_BEHIND * step, SAME):
        return None
    newton.system.factorise()
    state = newton.system.snapshot()
    return CriticalState("limit point", last.s, modes[1], Convergence(0, 0.0), 2, state), s
