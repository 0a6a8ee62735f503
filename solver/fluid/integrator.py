# SPDX-License-Identifier: MIT
"""Time steps of d/dt M = h by a diagonally implicit Runge-Kutta method of two stages.

It is of second order, L-stable and stiffly accurate (R. Alexander, SIAM J. Numer. Anal. 14, 1006, 1977, from
memory)::

    M1 = M0 + γ Δt h1                      at t + γ Δt,    γ = 1 - 1/√2
    M2 = M0 + (1-γ) Δt h1 + γ Δt h2        at t + Δt

Algebraic rows hold at both stages, so the step begins from M0 alone, whatever the other unknowns are. If a
source prescribes the flow of an inertance, the pressure before the inertance is of first order only.
"""

import math
from collections.abc import Callable, Sequence
from typing import NamedTuple

import numpy as np
from numpy.polynomial import Polynomial

from annelid.solver.errors import FlowNotFound
from annelid.solver.fluid.flow_system import Array, FlowSystem, LumenState

GAMMA = 1 - 1 / math.sqrt(2)
MOST_ITERATIONS = 60


class FlowState(NamedTuple):
    """Unknowns at one time.

    Attributes:
        time: In s.
        unknowns: y, shape (n,).
        stored: M at this time, shape (n,).
    """

    time: float
    unknowns: Array
    stored: Array


class InnerStage(NamedTuple):
    """The equation M(y, V, time) - known - weight h(y, V, r, l, time) = 0.

    Attributes:
        time: In s.
        known: Shape (n,).
        weight: γ Δt in s.
    """

    time: float
    known: Array
    weight: float


class StageResidual(NamedTuple):
    """Residual of a stage, shape (n,), and its derivatives: (n, n), (n, k) and (n, 2 k)."""

    value: Array
    by_unknowns: Array
    by_volumes: Array
    by_shape: Array


class Step(NamedTuple):
    """States of both stages; the second one is the end of the step."""

    first: FlowState
    last: FlowState


def starting_state(system: FlowSystem, y: Array, lumen: LumenState, t: float = 0.0) -> FlowState:
    """The state of these unknowns, from which a step can begin."""
    return FlowState(t, y, system.stored(y, lumen.volumes, t).value)


def first_stage(start: FlowState, dt: float) -> InnerStage:
    """First stage of a step of the length ``dt``."""
    return InnerStage(start.time + GAMMA * dt, start.stored, GAMMA * dt)


def second_stage(start: FlowState, dt: float, first: FlowState) -> InnerStage:
    """Second stage; Δt h1 is taken from what the first stage stored, so that volumes balance to rounding."""
    known = start.stored + (1 - GAMMA) / GAMMA * (first.stored - start.stored)
    return InnerStage(start.time + dt, known, GAMMA * dt)


def stage_residual(system: FlowSystem, stage: InnerStage, y: Array, lumen: LumenState) -> StageResidual:
    """Residual M - known - γ Δt h of a stage with its derivatives."""
    stored = system.stored(y, lumen.volumes, stage.time)
    rate = system.rate(y, lumen, stage.time)
    return StageResidual(
        stored.value - stage.known - stage.weight * rate.value,
        stored.by_unknowns - stage.weight * rate.by_unknowns,
        stored.by_lumen - stage.weight * rate.by_lumen[:, : len(lumen.volumes)],
        -stage.weight * rate.by_lumen[:, len(lumen.volumes) :],
    )


def integral(dt: float, first: float, last: float) -> float:
    """Integral over a step of what has these values at its stages, with the weights of the method."""
    return dt * ((1 - GAMMA) * first + GAMMA * last)


def line_integral(loads: Sequence[Array], stored: Sequence[Array]) -> float:
    """∫ e·dw along the parabolas through the start of a step and its two stages.

    All three are equilibria of the part, so this work closes its energy balance also with long steps in time.

    Args:
        loads: e at the three times, each of shape (k,).
        stored: w there.
    """
    return float(np.einsum("ik,ij,jk", loads, _WORK, stored))


def _between(polynomial: Polynomial) -> float:
    """Integral of a polynomial from 0 to 1."""
    whole = polynomial.integ()
    return float(whole(1) - whole(0))


# ∫ L_i dL_j of the Lagrange polynomials through the start of a step and its stages.
_BASIS = [Polynomial.fit([0.0, GAMMA, 1.0], values, 2, domain=[-1, 1]) for values in np.eye(3)]
_WORK = np.array([[_between(a * b.deriv()) for b in _BASIS] for a in _BASIS])


def step_alone(
    system: FlowSystem,
    start: FlowState,
    dt: float,
    lumen_at: Callable[[float], LumenState],
    *,
    tolerance: float = 1e-9,
) -> Step:
    """Make a step for a lumen whose volumes and radii are given over time.

    Args:
        system: The equations.
        start: State at the beginning of the step.
        dt: Length of the step in s.
        lumen_at: Lumen at a time.
        tolerance: Largest last change of the unknowns in Newton's method, relative to them and their scales.

    Raises:
        FlowNotFound: Newton's method does not converge, or the equations do not determine the unknowns.
    """
    first = _solve(system, first_stage(start, dt), start.unknowns, lumen_at, tolerance)
    last = _solve(system, second_stage(start, dt, first), first.unknowns, lumen_at, tolerance)
    return Step(first, last)


def _solve(
    system: FlowSystem,
    stage: InnerStage,
    guess: Array,
    lumen_at: Callable[[float], LumenState],
    tolerance: float,
) -> FlowState:
    """Solve one stage by Newton's method."""
    y, lumen, change = guess, lumen_at(stage.time), math.inf
    for _ in range(MOST_ITERATIONS):
        residual = stage_residual(system, stage, y, lumen)
        try:
            step = np.linalg.solve(residual.by_unknowns, -residual.value)
        except np.linalg.LinAlgError:
            raise FlowNotFound(
                f"the flow at {stage.time:g} s is not determined by its equations: connect each closed "
                "volume to a reservoir or a compliance",
                time=stage.time,
            ) from None
        change = float(np.max(np.abs(step) / (system.scales + np.abs(y)), initial=0.0))
        if not math.isfinite(change):
            break
        y = y + step
        if change <= tolerance:
            return FlowState(stage.time, y, system.stored(y, lumen.volumes, stage.time).value)
    raise FlowNotFound(
        f"the flow at {stage.time:g} s was not found in {MOST_ITERATIONS} iterations (last change "
        f"{change:.2g}, allowed {tolerance:g}): take smaller time steps",
        time=stage.time,
        change=change,
    )
