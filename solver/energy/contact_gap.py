# SPDX-License-Identifier: MIT
"""Frictionless contact of a surface with a rigid obstacle, as a potential with a penetration tolerance.

    Π_c = ∫ ½ k ⟨-g⟩² dA,   pressure per reference area p = k ⟨-g⟩,   ⟨a⟩ = max(a, 0)

g is the gap, positive where the surface is free. The stiffness is k = μ / tolerance, so that a contact
pressure of the size of the shear modulus sinks in by the tolerance (penalty method; Wriggers, Computational
Contact Mechanics, ch. 5, from memory). The penetration is reported with every state.
"""

from collections.abc import Callable, Sequence

import numpy as np
import ufl
from ufl.core.expr import Expr

from annelid.geometry.body import FloatArray
from annelid.solver.model.contact import Contact

_ROUND = 1e-12  # mm: rounding of a gap; also keeps the derivative of a radius finite on the axis


def gap(kind: str, x: Expr, position: Expr, place: Sequence[Expr], axisymmetric: bool) -> Expr:
    """Gap of a point to an obstacle as a UFL expression, mm.

    Args:
        kind: Of the obstacle.
        x: Current position, (r, z) or (x, y, z).
        position: Present value of ``Contact.position``.
        place: ``Contact.place``; given as constants no number in it makes a form of its own.
        axisymmetric: Which of the two.
    """
    if axisymmetric:
        r, z, across = x[0], x[1], (x[0], 0)
    else:
        r, z, across = ufl.sqrt(x[0] ** 2 + x[1] ** 2 + _ROUND**2), x[2], (x[0], x[1])
    return _gap(kind, r, z, across, position, place, ufl.sqrt)


def gap_of_points(contact: Contact, x: FloatArray, position: float) -> FloatArray:
    """Gap of points to the obstacle, mm.

    Args:
        contact: The obstacle.
        x: Current positions, shape (n, 2) or (n, 3), mm.
        position: Present value of ``contact.position``.
    """
    if x.shape[1] == 2:
        r, across = x[:, 0], (x[:, 0], np.zeros(len(x)))
    else:
        r, across = np.hypot(x[:, 0], x[:, 1]), (x[:, 0], x[:, 1])
    return np.asarray(_gap(contact.kind, r, x[:, -1], across, position, contact.place, np.sqrt))


def _gap(
    kind: str, r: Expr, z: Expr, across: tuple, position: Expr, place: Sequence[Expr], root: Callable
) -> Expr:
    """The same formulas for UFL expressions and arrays."""
    height, cos, sin, sense = place
    if kind == "cylinder":
        distance = r - position
    elif kind == "cone":
        distance = (r - position) * cos - (z - height) * sin
    elif kind == "sphere":
        distance = root(r**2 + (z - height) ** 2 + _ROUND**2) - position
    elif kind == "plane":
        distance = z - position
    else:
        distance = across[0] * cos + across[1] * sin - position
    return sense * distance


def closing_energy(g: Expr, k: Expr) -> Expr:
    """½ k ⟨-g⟩² per reference area.

    A surface that is drawn on its obstacle touches it: with a gap of 0 or of rounding it has the stiffness of
    contact, without which a stretched wall around a rod would have no equilibrium nearby.
    """
    return ufl.conditional(ufl.le(g, _ROUND), k / 2 * g**2, 0.0)
