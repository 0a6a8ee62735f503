# SPDX-License-Identifier: MIT
"""Frictionless contact of a surface with a rigid obstacle, as a potential with a penetration tolerance.

    Π_c = ∫ ½ k ⟨-g⟩² dA,   pressure per reference area p = k ⟨-g⟩,   ⟨a⟩ = max(a, 0)

g is the gap, positive where the surface is free. The stiffness is k = μ / tolerance, so that a contact
pressure of the size of the shear modulus sinks in by the tolerance (penalty method; Wriggers, Computational
Contact Mechanics, ch. 5, from memory). The penetration is reported with every state.
"""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
import ufl
from ufl.core.expr import Expr

from geometry.body import FloatArray
from geometry.errors import InputError

KINDS = ("cylinder", "cone", "sphere", "plane", "side")
_ROUND = 1e-12  # mm; keeps the derivative of a radius finite on the axis


@dataclass(frozen=True)
class Contact:
    """A surface of the part that may touch a rigid obstacle.

    Attributes:
        name: Name of the obstacle.
        surface: Outer surface of the body.
        kind: ``"cylinder"`` around the axis, ``"cone"`` around it, ``"sphere"`` centred on it, ``"plane"``
            across it, or ``"side"`` (a plane that holds the axis, for lumen closure in three dimensions).
        position: Radius of cylinder or sphere, radius of a cone at ``height``, height of a plane, distance of
            a side plane from the axis, mm; stages may move it. A cylinder of radius 0 is the closing lumen.
        part_is: ``"outside"`` (the part surrounds a core; above a plane) or ``"inside"`` (within a tube or
            shell; below a plane).
        height: Centre of a sphere, or where a cone has its radius, mm.
        angle: Half angle of a cone, degrees, positive if it widens with Z; direction of a side plane's normal
            from the X axis, degrees.
        tolerance: Penetration at a contact pressure equal to the shear modulus, mm.

    Raises:
        InputError: Unknown kind or side, or a value out of range.
    """

    name: str
    surface: str
    kind: str = "cylinder"
    position: float = 0.0
    part_is: str = "outside"
    height: float = 0.0
    angle: float = 0.0
    tolerance: float = 0.002

    def __post_init__(self) -> None:
        if self.kind not in KINDS:
            raise InputError(
                f"contact '{self.name}': kind = '{self.kind}' is not one of: {', '.join(KINDS)}", key="kind"
            )
        if self.part_is not in ("outside", "inside"):
            raise InputError(
                f"contact '{self.name}': part_is = '{self.part_is}' must be outside or inside", key="part_is"
            )
        if not self.tolerance > 0:
            raise InputError(
                f"contact '{self.name}': tolerance is {self.tolerance} mm; it must be positive",
                key="tolerance",
            )
        if self.kind in ("cylinder", "cone", "sphere") and self.position < 0:
            raise InputError(
                f"contact '{self.name}': position (a radius) is {self.position} mm; it must not be negative",
                key="position",
            )
        if self.kind == "cone" and not -80 <= self.angle <= 80:
            raise InputError(
                f"contact '{self.name}': angle is {self.angle} deg; a cone's lies between -80 and 80",
                key="angle",
            )

    @property
    def place(self) -> tuple[float, ...]:
        """Numbers of the gap beside the position: height, cos and sin of the angle, 1 outside, -1 inside."""
        angle = math.radians(self.angle)
        return self.height, math.cos(angle), math.sin(angle), 1.0 if self.part_is == "outside" else -1.0


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
    """½ k ⟨-g⟩² per reference area."""
    return k / 2 * ufl.max_value(-g, 0.0) ** 2
