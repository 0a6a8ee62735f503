# SPDX-License-Identifier: MIT
"""Rotation of a part about its axis: of an end under a torque, and of a point as a displacement."""

import ufl
from dolfinx import fem
from mpi4py import MPI
from ufl.core.expr import Expr

from annelid.solver.energy import forms


def turned(x: Expr, u: Expr, arm: Expr) -> Expr:
    """Displacement along (e_R, e_hoop, e_Z) of the drawn point, of an axisymmetric model with twist.

    Args:
        x: Drawn position (R, Z).
        u: (u_R, u_Z, R0 θ).
        arm: R0.
    """
    r, θ = x[0] + u[0], u[2] / arm
    return ufl.as_vector([r * ufl.cos(θ) - x[0], r * ufl.sin(θ), u[1]])


class EndRotation:
    """Mean rotation θ̄ = ∫ R² θ dA / ∫ R² dA of an end about the axis, and the torque τ on it.

    The dead torque has the potential -τ θ̄. Its tractions grow with R, as in a twisted rod. θ is the angle
    between the drawn and the present place of a point as seen along the axis.

    Attributes:
        torque: Constant τ, N mm.
        near: Constant angle within half a turn of which θ is, rad; in 3-D the position alone does not count
            whole turns.
        mean: θ̄, rad.

    Args:
        x: Drawn position.
        u: Displacement.
        arm: R0 of an axisymmetric model, in which θ is u_3/R0, else ``None``.
        around: 2πR of an axisymmetric model, else 1.
        dA: Measure of the end.
    """

    def __init__(self, x: Expr, u: fem.Function, arm: Expr | None, around: Expr, dA: ufl.Measure) -> None:
        domain = u.function_space.mesh
        self.torque = fem.Constant(domain, 0.0)
        self.near = fem.Constant(domain, 0.0)
        if arm is None:
            square, θ = x[0] ** 2 + x[1] ** 2, _angle(x, u, self.near)
        else:
            square, θ = x[0] ** 2, u[2] / arm
        moment = fem.assemble_scalar(forms.compile_forms(square * around * dA))
        per_moment = fem.Constant(domain, 1 / float(domain.comm.allreduce(moment, op=MPI.SUM)))
        self.mean = per_moment * square * θ * around * dA


def _angle(X: Expr, u: Expr, near: Expr) -> Expr:
    """Angle about the axis from X to X + u, within half a turn of another angle."""
    x, y = X[0] + u[0], X[1] + u[1]
    along, across = X[0] * x + X[1] * y, X[0] * y - X[1] * x
    c, s = ufl.cos(near), ufl.sin(near)
    return near + ufl.atan2(c * across - s * along, c * along + s * across)
