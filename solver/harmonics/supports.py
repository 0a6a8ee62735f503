# SPDX-License-Identifier: MIT
"""What supports and the axis demand of the amplitudes (a, b, c) of a harmonic.

| hold | m ≥ 1 | m = 0 | why |
|---|---|---|---|
| all | a = b = c = 0 | the same | bonded to something rigid that does not move |
| axial | c = 0 | the same | slides in its plane; that plane holds the tilt of the part, but not its translation |
| axial twist | b = c = 0 | the same | slides along radii only, as in a chuck, which also holds the translation |
| radial | a = b = 0 | the same | moves along the axis only |
| symmetric | c = 0, or a = b = 0 | the same | the whole part has modes that mirror and modes that do not; both are judged |
| plate | c = 0 | c the same everywhere | the plate is guided along the axis, so it cannot tilt; the part slides on it, as its radius is free |
| plate all | a = b = c = 0 | a = b = 0, c the same everywhere | bonded to the guided plate |
| rigid motion, free | nothing | nothing | they exert no force |

On the axis a displacement of one value is (a, -a, 0) for m = 1, (0, 0, c) for m = 0, and zero for m ≥ 2.
Guided plates are those of the three-dimensional models, too.
"""

from collections.abc import Iterator, Sequence
from itertools import product

import numpy as np

from annelid.geometry.body import Body, IntArray
from annelid.solver.assembly.constraints import Constraints, FixedComponent, LinearConstraint
from annelid.solver.model.boundary import Support

A, B, C = range(3)
"""Components of the amplitudes: radial, around the axis, axial."""

_FIXED = {
    "all": (A, B, C),
    "axial": (C,),
    "axial twist": (B, C),
    "radial": (A, B),
    "symmetric": (C,),
    "plate": (C,),
    "plate all": (A, B, C),
    "rigid motion": (),
    "free": (),
}
_TOUCH = 1e-9  # mm; nodes closer to the axis lie on it


def parities(supports: Sequence[Support]) -> Iterator[tuple[str, ...]]:
    """Combinations of planes of symmetry about which a mode is the opposite of its mirror image."""
    planes = [s.region for s in supports if s.hold == "symmetric"]
    for opposite in product((False, True), repeat=len(planes)):
        yield tuple(plane for plane, o in zip(planes, opposite, strict=True) if o)


def amplitude_constraints(
    body: Body, supports: Sequence[Support], plates: Sequence[LinearConstraint], m: int, opposite: Sequence[str]
) -> Constraints:
    """Constraints of the amplitudes (a, b, c) of a harmonic.

    Args:
        body: The meridian.
        supports: How it is held.
        plates: Constraints of the axisymmetric state, which are those of plates.
        m: Number of waves around the axis.
        opposite: Planes of symmetry about which the mode is the opposite of its mirror image.
    """
    held = np.zeros((len(body.points), 3), dtype=bool)
    for support in supports:
        components = _FIXED[support.hold]
        if support.region in opposite:
            components = (A, B)
        if m == 0 and support.is_plate:
            components = tuple(i for i in components if i != C)
        held[np.ix_(body.surface_nodes(support.region), components)] = True
    on_axis = axis_nodes(body)
    held[on_axis, C] |= m > 0
    linear: list[LinearConstraint] = []
    if m == 1:
        held[on_axis, A] |= held[on_axis, B]
        held[on_axis, B] = held[on_axis, A]
        linear.append(_tied(on_axis[~held[on_axis, A]]))
    else:
        held[np.ix_(on_axis, (A, B))] = True
    if m == 0:
        linear += [_along_axis(plate) for plate in plates]
    fixed = (FixedComponent("", i, np.flatnonzero(held[:, i])) for i in range(3))
    return Constraints(
        tuple(f for f in fixed if len(f.nodes)), tuple(c for c in linear if len(c.dependent))
    )


def axis_nodes(body: Body) -> IntArray:
    """Nodes on the axis."""
    return np.flatnonzero(np.abs(body.points[:, 0]) < _TOUCH)


def _tied(nodes: IntArray) -> LinearConstraint:
    """b = -a: the nodes move across the axis as a whole."""
    pair = np.stack([nodes, np.full_like(nodes, B)], axis=1)
    return LinearConstraint(pair, np.stack([nodes, np.full_like(nodes, A)], axis=1), -1.0)


def _along_axis(plate: LinearConstraint) -> LinearConstraint:
    pairs = (np.stack([p[:, 0], np.full(len(p), C)], axis=1) for p in (plate.dependent, plate.independent))
    return LinearConstraint(*pairs)
