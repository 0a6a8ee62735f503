# SPDX-License-Identifier: MIT
"""What supports and the axis demand of the amplitudes (a, b, c) of a harmonic.

| hold | zero for m ≥ 1 | what it is |
|---|---|---|
| all | a, b, c | bonded to something rigid that does not move |
| axial | c | slides in its plane, which holds the tilt of the part but not its translation |
| axial twist | b, c | slides along radii only, as in a chuck, which also holds the translation |
| radial | a, b | moves along the axis only |
| symmetric | c, or a and b | the whole part has modes that mirror and modes that do not: both are judged |
| plate | c | slides on a plate that is guided along the axis: it neither tilts nor holds translation |
| plate all | a, b, c | bonded to a guided plate |
| rigid motion, free | none | they exert no force |

For m = 0 the same components are zero, but a plate moves along the axis, with c the same everywhere. On the
axis a displacement of one value is (a, -a, 0) for m = 1, (0, 0, c) for m = 0, and zero for m ≥ 2. Plates of
three-dimensional models are guided, too. Between two planes of symmetry the part repeats along the axis, and
modes are judged that repeat after two or four times its length.
"""

from collections.abc import Iterator, Sequence
from itertools import product

import numpy as np

from annelid.geometry.body import Body, IntArray
from annelid.solver.constraints.constraints import Constraints, FixedComponent, LinearConstraint
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
    body: Body,
    supports: Sequence[Support],
    plates: Sequence[LinearConstraint],
    m: int,
    opposite: Sequence[str],
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
    return Constraints(tuple(f for f in fixed if len(f.nodes)), tuple(c for c in linear if len(c.dependent)))


def axis_nodes(body: Body) -> IntArray:
    """Nodes on the axis."""
    return np.flatnonzero(np.abs(body.points[:, 0]) < _TOUCH)


def _tied(nodes: IntArray) -> LinearConstraint:
    """b = -a: the nodes move across the axis as a whole."""
    pair = np.stack([nodes, np.full_like(nodes, B)], axis=1)
    return LinearConstraint(pair, np.stack([nodes, np.full_like(nodes, A)], axis=1), -1.0)


def _along_axis(plate: LinearConstraint) -> LinearConstraint:
    """The constraint of a plate, for the axial amplitude."""
    dependent, independent = (
        np.stack([pairs[:, 0], np.full(len(pairs), C)], axis=1)
        for pairs in (plate.dependent, plate.independent)
    )
    return LinearConstraint(dependent, independent)
