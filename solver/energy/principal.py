# SPDX-License-Identifier: MIT
"""Principal values of a symmetric tensor as smooth UFL expressions, safe where they coincide."""

import math

import ufl
from ufl.core.expr import Expr

# Where two values come closer than this the split between them is rounded off. The error of a symmetric
# function of the values is O(SPLIT²), that of its second derivative by round-off about 1e-16 / SPLIT.
SPLIT = 1e-5


def principal_squares(C: Expr, axisymmetric: bool) -> tuple[Expr, Expr, Expr]:
    """The principal values of a symmetric 3x3 tensor, unordered.

    Args:
        C: The tensor.
        axisymmetric: Whether the second axis (hoop) is uncoupled from the others; then the two-by-two formula
            serves, else Cardano's with the angle taken by atan2 from the discriminant.
    """
    if axisymmetric:
        return _two_and_one(C)
    q = ufl.tr(C) / 3
    S = C - q * ufl.Identity(3)
    p = ufl.sqrt(ufl.inner(S, S) / 6 + SPLIT**2)
    r = ufl.det(S) / (2 * p**3)
    angle = ufl.atan2(ufl.sqrt(ufl.max_value(1 - r**2, 0.0) + SPLIT**2), r) / 3
    turns = (0.0, 2 * math.pi / 3, 4 * math.pi / 3)
    first, second, third = (q + 2 * p * ufl.cos(angle + turn) for turn in turns)
    return first, second, third


def _two_and_one(C: Expr) -> tuple[Expr, Expr, Expr]:
    mean = (C[0, 0] + C[2, 2]) / 2
    split = ufl.sqrt(((C[0, 0] - C[2, 2]) / 2) ** 2 + C[0, 2] ** 2 + SPLIT**2)
    return mean + split, mean - split, C[1, 1]
