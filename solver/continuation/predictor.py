# SPDX-License-Identifier: MIT
"""Accepted states with their tangents, and where the next state is expected."""

from dataclasses import dataclass

from petsc4py import PETSc

from annelid.solver.assembly.snapshot import Snapshot

_FURTHEST = 1.01  # steps ahead, in steps behind, to which the cubic through two states is trusted


@dataclass
class AcceptedState:
    """A state of a curve from which it is continued.

    Attributes:
        state: Unknowns, loads and multiplier.
        tangent: dx/ds.
        s: Position along the curve.
        rate: dλ/ds.
    """

    state: Snapshot
    tangent: PETSc.Vec
    s: float
    rate: float


def predict(x: PETSc.Vec, before: AcceptedState | None, last: AcceptedState, s: float) -> float:
    """Fill ``x`` by the cubic through two states and their tangents, else along the tangent of the last.

    Args:
        x: Unknowns to fill.
        before: The state before ``last``, if the curve through both may be trusted.
        last: The last accepted state.
        s: Position to predict, beyond ``last``.

    Returns:
        The multiplier predicted in the same way.
    """
    last.state.x.copy(x)
    if before is None or s - last.s > _FURTHEST * (last.s - before.s):
        x.axpy(s - last.s, last.tangent)
        return last.state.multiplier + last.rate * (s - last.s)
    d = last.s - before.s
    θ = (s - before.s) / d
    # Hermite's basis; the weights of x sum to one.
    start, end = (1 + 2 * θ) * (1 - θ) ** 2, θ**2 * (3 - 2 * θ)
    slope_start, slope_end = d * θ * (1 - θ) ** 2, d * θ**2 * (θ - 1)
    x.scale(end)
    x.axpy(start, before.state.x)
    x.axpy(slope_start, before.tangent)
    x.axpy(slope_end, last.tangent)
    return (
        start * before.state.multiplier
        + end * last.state.multiplier
        + slope_start * before.rate
        + slope_end * last.rate
    )
