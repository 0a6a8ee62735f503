# SPDX-License-Identifier: MIT
"""Supports as fixed unknowns and linear constraints between unknowns."""

import math

import numpy as np

from annelid.geometry.body import Body, IntArray
from annelid.geometry.errors import InvalidValue
from annelid.solver.constraints.constraints import Constraints, FixedComponent, LinearConstraint
from annelid.solver.constraints.rigid_motions import fix_rigid_motions

_TOUCH = 1e-9  # mm; nodes closer to the axis lie on it
_HALF = 2 + 1e-9  # multiplicity of half a part, whose axis may bend in its plane of symmetry


def constraints_of(
    body: Body, supports: tuple, *, axis_is_fixed: bool = True, twist: bool = False
) -> Constraints:
    """Translate supports, the axis and the planes of a sector into constraints.

    Args:
        body: The meshed part.
        supports: ``Support`` records.
        axis_is_fixed: Keep nodes on the axis there (always right for a body of revolution).
        twist: Whether the displacement of an axisymmetric model has the twist as its last component.

    Raises:
        InvalidValue: A ``symmetric`` surface is not plane or not square to an axis.
    """
    last = body.points.shape[1] - 1
    fixed: list[FixedComponent] = []
    linear: list[LinearConstraint] = []
    plates: list[IntArray] = []
    for support in supports:
        nodes = body.surface_nodes(support.region)
        if support.hold in ("all", "radial", "plate all"):
            turned = support.region if body.model == "solid" else ""
            fixed += [FixedComponent("", i, nodes, turned=turned) for i in range(last)]
        if twist and support.fixes_rotation:
            fixed.append(FixedComponent("", last + 1, nodes, turned=support.region))
        if support.can_be_moved:
            fixed.append(FixedComponent(support.region, last, nodes))
        if support.hold == "symmetric":
            fixed.append(FixedComponent("", _plane_component(body, support.region, nodes), nodes))
        if support.is_plate:
            plates.append(nodes)
    linear += [_plate(nodes, last) for nodes in _joined(plates)]
    if axis_is_fixed:
        fixed += _axis(body, last)
    for side in ("side_low", "side_high"):
        if side in body.surfaces:
            _side(body, side, fixed, linear)
    for support in supports:
        if support.hold == "rigid motion":
            fixed += fix_rigid_motions(body, support.region, fixed, linear, twist=twist)
    return Constraints(tuple(fixed), tuple(linear))


def _axis(body: Body, last: int) -> list[FixedComponent]:
    if body.model == "axisymmetric":
        on_axis = np.flatnonzero(np.abs(body.points[:, 0]) < _TOUCH)
    elif body.model == "sector" and body.multiplicity > _HALF:
        on_axis = np.flatnonzero(np.hypot(body.points[:, 0], body.points[:, 1]) < _TOUCH)
    else:
        return []
    return [FixedComponent("", i, on_axis) for i in range(last)] if len(on_axis) else []


def _side(body: Body, side: str, fixed: list[FixedComponent], linear: list[LinearConstraint]) -> None:
    """Symmetry plane through the axis: no motion across it; a plane off the axes linear u_Y to u_X."""
    nodes = body.surface_nodes(side)
    r = np.hypot(body.points[nodes, 0], body.points[nodes, 1])
    outermost = body.points[nodes[np.argmax(r)]]
    angle = math.atan2(outermost[1], outermost[0])
    if abs(math.sin(angle)) < 1e-9:
        fixed.append(FixedComponent("", 1, nodes))
    elif abs(math.cos(angle)) < 1e-9:
        fixed.append(FixedComponent("", 0, nodes))
    else:
        off = nodes[r > _TOUCH]
        pair = np.stack([off, np.ones_like(off)], axis=1)
        linear.append(LinearConstraint(pair, np.stack([off, np.zeros_like(off)], axis=1), math.tan(angle)))


def _joined(plates: list[IntArray]) -> list[IntArray]:
    """Node sets of plates; those that share an edge are joined."""
    apart: list[IntArray] = []
    for nodes in plates:
        touching = [other for other in apart if np.intersect1d(other, nodes).size]
        apart = [other for other in apart if not np.intersect1d(other, nodes).size]
        apart.append(np.unique(np.concatenate([nodes, *touching])))
    return apart


def _plate(nodes: IntArray, component: int) -> LinearConstraint:
    dependent = np.stack([nodes[1:], np.full(len(nodes) - 1, component)], axis=1)
    return LinearConstraint(
        dependent, np.broadcast_to(np.array([nodes[0], component]), dependent.shape).copy()
    )


def _plane_component(body: Body, region: str, nodes: IntArray) -> int:
    spans = np.ptp(body.points[nodes], axis=0)
    component = int(np.argmin(spans))
    if spans[component] > 1e-6 * max(spans.max(), 1e-12):
        raise InvalidValue(
            "'symmetric' needs a plane surface square to an axis", key="hold", subject=f"support '{region}'"
        )
    return component
