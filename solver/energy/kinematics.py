# SPDX-License-Identifier: MIT
"""Deformation gradients: the only place where axisymmetric and three-dimensional models differ."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import ufl
from ufl.core.expr import Expr

_NOTHING = 1e-30  # keeps the length of a direction that vanishes from dividing by zero


@dataclass(frozen=True)
class Strain:
    """What a stored energy may depend on, of the elastic part of the deformation.

    Attributes:
        J: det Fe of the elastic deformation gradient Fe = F G⁻¹.
        C: Isochoric right Cauchy-Green tensor J^(-2/3) Fe^T Fe.
        I1: Its trace, of fewer products.
        axisymmetric: Whether the axes are (R, hoop, Z) with the hoop direction uncoupled.
        frame: Wall directions (normal, hoop, axial), unit vectors in the reference configuration.
    """

    J: Expr
    C: Expr
    I1: Expr
    axisymmetric: bool
    frame: tuple[Expr, Expr, Expr]


def gradient(u: Expr, x: Expr, axisymmetric: bool, *, arm: Expr | None = None, linear: bool = False) -> Expr:
    """Displacement gradient, 3x3; axisymmetric from the axes (R, hoop, Z) to those turned by the twist θ.

    Args:
        u: Displacement, (u_R, u_Z), with twist (u_R, u_Z, R0 θ), or (u_X, u_Y, u_Z).
        x: Reference position, (R, Z) or (X, Y, Z).
        axisymmetric: Which of the two.
        arm: R0 of an axisymmetric model with twist, else ``None``.
        linear: Of a small displacement; θ is an unknown as it is, so that large rotations are exact.
    """
    H = ufl.grad(u)
    if not axisymmetric:
        return H
    around: list[Expr | int] = [0, 0]
    if arm is not None:
        r = x[0] if linear else x[0] + u[0]
        around = [r * H[2, i] / arm for i in range(2)]
    return ufl.as_matrix([[H[0, 0], 0, H[0, 1]], [around[0], u[0] / x[0], around[1]], [H[1, 0], 0, H[1, 1]]])


def scalar_gradient(phi: Expr, axisymmetric: bool) -> Expr:
    """Gradient of a scalar as a 3-vector in the same axes."""
    g = ufl.grad(phi)
    return ufl.as_vector([g[0], 0, g[1]]) if axisymmetric else g


def wall_frame(normal: Expr, hoop: Expr | None, *, turning: bool = False) -> tuple[Expr, Expr, Expr]:
    """Wall directions (normal, hoop, axial); for a tube they are e_R, e_hoop and e_Z.

    Args:
        normal: Wall normal, (n_R, n_Z) when axisymmetric, else 3 components.
        hoop: Circumferential direction, ``None`` when axisymmetric.
        turning: They turn so far within a cell that they have to be made unit vectors again.
    """
    if turning and hoop is not None:
        normal = normal / ufl.sqrt(ufl.inner(normal, normal) + _NOTHING)
        hoop = hoop - ufl.inner(hoop, normal) * normal
        hoop = hoop / ufl.sqrt(ufl.inner(hoop, hoop) + _NOTHING)
    if hoop is None:
        n = ufl.as_vector([normal[0], 0, normal[1]])
        return n, ufl.as_vector([0, 1, 0]), ufl.as_vector([-normal[1], 0, normal[0]])
    return normal, hoop, ufl.cross(normal, hoop)


def revolution(x: Expr, axisymmetric: bool) -> Expr:
    """2πR of an axisymmetric body, 1 otherwise."""
    return 2 * math.pi * x[0] if axisymmetric else 1


def natural_inverse(natural: Sequence[Expr], frame: tuple[Expr, Expr, Expr]) -> Expr:
    """G⁻¹ of a natural stretch.

    Args:
        natural: Its components normal, hoop and axial, where it varies the shear across normal and axial,
            and perhaps those across normal and hoop, and hoop and axial; or all nine along X, Y and Z.
        frame: Wall directions (normal, hoop, axial).
    """
    if len(natural) == 9:
        return ufl.inv(gradient_matrix(natural))
    n, h, a = frame
    normal, hoop, axial, *shears = natural
    if not shears:
        pairs = zip((normal, hoop, axial), frame, strict=True)
        return ufl.Identity(3) + sum((1 / g - 1) * ufl.outer(d, d) for g, d in pairs)
    if len(shears) == 1:
        s = shears[0]
        across = (
            axial * ufl.outer(n, n) + normal * ufl.outer(a, a) - s * (ufl.outer(n, a) + ufl.outer(a, n))
        ) / (normal * axial - s**2)
        return ufl.Identity(3) + across - ufl.outer(n, n) - ufl.outer(a, a) + (1 / hoop - 1) * ufl.outer(h, h)
    Q = ufl.as_matrix([[direction[i] for i in range(3)] for direction in frame])
    G = natural_matrix(natural)
    return ufl.Identity(3) + Q.T * (cofactor(G) / ufl.det(G) - ufl.Identity(3)) * Q


def gradient_matrix(natural: Sequence[Expr]) -> Expr:
    """The natural stretch of nine components as a matrix along X, Y and Z."""
    return ufl.as_matrix([natural[:3], natural[3:6], natural[6:]])


def natural_matrix(natural: Sequence[Expr]) -> Expr:
    """The natural stretch of six components as a matrix in (normal, hoop, axial)."""
    normal, hoop, axial, shear, aslant, along = natural
    return ufl.as_matrix([[normal, aslant, shear], [aslant, hoop, along], [shear, along, axial]])


def strain_of(F: Expr, axisymmetric: bool, frame: tuple[Expr, Expr, Expr]) -> Strain:
    """Collect the strain measures of an elastic deformation gradient."""
    J = ufl.det(F)
    scale = ufl.exp(-2 / 3 * ufl.ln(J))  # its derivatives contain itself, those of a power other powers
    return Strain(J, scale * (F.T * F), scale * ufl.inner(F, F), axisymmetric, frame)


def strain_of_tensor(C: Expr, frame: tuple[Expr, Expr, Expr]) -> Strain:
    """The same from a deformation tensor Ce = FeᵀFe alone, whose axes may be any."""
    J = ufl.sqrt(ufl.det(C))
    scale = ufl.exp(-2 / 3 * ufl.ln(J))
    return Strain(J, scale * C, scale * ufl.tr(C), False, frame)


def field_measure_of_tensor(C: Expr, E0: Expr, G: Expr) -> Expr:
    """``field_measure`` from a deformation tensor."""
    return ufl.inner(E0, cofactor(C) * E0) / G * (2 - ufl.sqrt(ufl.det(C)) / G)


def field_measure(F: Expr, E0: Expr, G: Expr) -> Expr:
    """J |F⁻ᵀ E0|² = |cof(F) E0|² / J, with 1/J to first order about J = det G, which the pressure upholds.

    It upholds it in the mean of a cell. With 1/J itself a strong field would gain energy without bound by
    thinning one half of a cell and swelling the other.

    Args:
        F: Deformation gradient of the drawn body.
        E0: Nominal field.
        G: Determinant of the natural stretch.
    """
    turned = cofactor(F) * E0
    return ufl.inner(turned, turned) / G * (2 - ufl.det(F) / G)


def cofactor(F: Expr) -> Expr:
    """J F⁻ᵀ of a 3x3 tensor, free of divisions."""
    rows = [F[i, :] for i in range(3)]
    return ufl.as_matrix(
        [[ufl.cross(rows[(i + 1) % 3], rows[(i + 2) % 3])[j] for j in range(3)] for i in range(3)]
    )
