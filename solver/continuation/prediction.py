# SPDX-License-Identifier: MIT
"""States that one can come back to, and where the next one is expected."""

from dataclasses import dataclass

from petsc4py import PETSc

from annelid.solver.model.loads import Loads

_FURTHEST = 1.01  # steps ahead, in steps behind, to which the cubic through two states is trusted


@dataclass
class Mark:
    """A state on a track that one can come back to.

    Attributes:
        x: Unknowns.
        tangent: dx/ds.
        s: Position along the track.
        λ: Multiplier (0 under load control).
        rate: dλ/ds.
        loads: Loads in force.
    """

    x: PETSc.Vec
    tangent: PETSc.Vec
    s: float
    λ: float
    rate: float
    loads: Loads


def predict(x: PETSc.Vec, one: Mark | None, two: Mark, s: float) -> float:
    """Fill ``x`` by the cubic through two marks and their tangents, else along the tangent of the second.

    Args:
        x: Unknowns to fill.
        one: The mark before ``two``, if the curve through both may be trusted.
        two: The last mark.
        s: Position to predict, beyond ``two``.

    Returns:
        The multiplier predicted in the same way.
    """
    two.x.copy(x)
    if one is None or s - two.s > _FURTHEST * (two.s - one.s):
        x.axpy(s - two.s, two.tangent)
        return two.λ + two.rate * (s - two.s)
    d = two.s - one.s
    θ = (s - one.s) / d
    # Hermite's basis; the weights of x sum to one.
    start, end = (1 + 2 * θ) * (1 - θ) ** 2, θ**2 * (3 - 2 * θ)
    slope_start, slope_end = d * θ * (1 - θ) ** 2, d * θ**2 * (θ - 1)
    x.scale(end)
    x.axpy(start, one.x)
    x.axpy(slope_start, one.tangent)
    x.axpy(slope_end, two.tangent)
    return start * one.λ + end * two.λ + slope_start * one.rate + slope_end * two.rate
