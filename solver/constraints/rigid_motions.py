# SPDX-License-Identifier: MIT
"""Rigid motions that nothing fixes: they are refused, or single nodes fix them."""

from collections.abc import Sequence

import numpy as np

from annelid.geometry.body import Body, FloatArray, IntArray
from annelid.geometry.elements import CORNERS, FACETS
from annelid.geometry.errors import InvalidValue
from annelid.solver.constraints.constraints import Constraints, FixedComponent, LinearConstraint
from annelid.solver.model.boundary import Foundation
from annelid.solver.model.model import Model

_AXIAL = ("a translation along the axis", "a rotation about the axis")
_SIX = (
    "a translation along x",
    "a translation along y",
    "a translation along the axis",
    "a rotation about x",
    "a rotation about y",
    "a rotation about the axis",
)
_FREE = 1e-9  # singular value below which a rigid motion is free, of the largest


def fix_rigid_motions(
    body: Body,
    surface: str,
    fixed: Sequence[FixedComponent],
    linear: Sequence[LinearConstraint],
    *,
    twist: bool = False,
) -> list[FixedComponent]:
    """Fix as many displacement components as rigid motions are left, where these move the surface most.

    Args:
        body: The meshed part.
        surface: Surface whose nodes may be fixed.
        fixed: What is fixed already.
        linear: Linear constraints of other supports.
        twist: Whether the displacement of an axisymmetric model has the twist as its last component.

    Returns:
        One component of one node for each motion that is left.
    """
    rigid = _Motions(body, twist)
    free = _free_motions(rigid, fixed, linear)
    if not free.shape[1]:
        return []
    from scipy.linalg import qr

    nodes, size = body.surface_nodes(surface), body.points.shape[1] + twist
    moved = (rigid.at(nodes) @ free).reshape(len(nodes) * size, -1)
    moved[_constrained(nodes, size, fixed, linear)] = 0.0
    _, _, order = qr(moved.T, mode="economic", pivoting=True)
    chosen = order[: free.shape[1]]
    return [FixedComponent("", int(i % size), nodes[[i // size]], surface) for i in chosen]


def check_rigid_motions(model: Model, constraints: Constraints) -> None:
    """Check that supports and foundations fix every rigid motion; obstacles may do so, too.

    Obstacles are without friction, so none but a side plane keeps a part from turning about the axis.

    Raises:
        InvalidValue: A rigid motion is free; the message names all of them.
    """
    if any(contact.kind == "side" for contact in model.contacts):
        return
    rigid = _Motions(model.body, model.solved_twist)
    held = [_of_foundation(rigid, foundation) for foundation in model.foundations if foundation.stiffness > 0]
    if model.contacts:  # the rotation about the axis is the last motion, if there is one
        held.append(np.eye(rigid.count)[: max(1, rigid.count - 1)])
    free = _free_motions(rigid, constraints.fixed, constraints.linear, held)
    if not free.shape[1]:
        return
    names = _AXIAL[: rigid.count] if model.axisymmetric else _SIX
    share = np.linalg.norm(free, axis=1)  # of each rigid motion in the free ones
    named = [name for name, part in zip(names, share, strict=True) if part > min(0.5, share.max())]
    raise InvalidValue(
        f"nothing prevents {', '.join(named)}: add a support, for example one with region = 'outer' and "
        "hold = 'rigid motion', which exerts no force",
        key="supports",
    )


def _of_foundation(rigid: "_Motions", foundation: Foundation) -> FloatArray:
    """Action of an elastic foundation on the rigid motions, shape (k, motions)."""
    body = rigid.body
    facets = body.facets[body.facet_numbers(foundation.region)]
    if foundation.direction == "all":
        return rigid.at(np.unique(facets)).reshape(-1, rigid.count)
    corners = body.points[facets[:, :3]]
    along = corners[:, 1] - corners[:, 0]
    if body.points.shape[1] == 2:
        normal = np.stack([along[:, 1], -along[:, 0]], axis=1)
    else:
        normal = np.cross(along, corners[:, 2] - corners[:, 0])
    normal /= np.linalg.norm(normal, axis=1, keepdims=True)
    count = CORNERS[FACETS[body.cell_type][0]]  # in the middle of its corners a cylinder has this normal
    middle = np.mean([rigid.at(facets[:, i]) for i in range(count)], axis=0)
    return np.asarray(np.einsum("kd,kdm->km", normal, middle[:, : normal.shape[1]]))


def _constrained(
    nodes: IntArray, size: int, fixed: Sequence[FixedComponent], linear: Sequence[LinearConstraint]
) -> IntArray:
    """Positions, among all components of some nodes, of those that are fixed or dependent already."""
    taken = [size * group.nodes + group.component for group in fixed]
    taken += [size * constraint.dependent[:, 0] + constraint.dependent[:, 1] for constraint in linear]
    every = (size * nodes[:, None] + np.arange(size)).ravel()
    return np.flatnonzero(np.isin(every, np.concatenate([np.empty(0, dtype=np.int64), *taken])))


class _Motions:
    """The rigid motions of a body, each of about unit size.

    Attributes:
        body: The body.
        count: Number of motions.
    """

    def __init__(self, body: Body, twist: bool) -> None:
        self.body = body
        self._twist = twist
        self.count = 6 if body.model != "axisymmetric" else 1 + twist

    def at(self, nodes: IntArray) -> FloatArray:
        """Displacement of nodes in each motion, shape (k, components, motions)."""
        if self.body.model == "axisymmetric":
            return np.tile(np.eye(3)[1:].T if self._twist else np.eye(2)[1:].T, (len(nodes), 1, 1))
        points = self.body.points
        centre, span = points.mean(axis=0), float(np.ptp(points, axis=0).max())
        x, y, z = ((points[nodes] - centre) / span).T
        o = np.zeros_like(x)
        turns = [np.stack(turn, axis=1) for turn in ([o, -z, y], [z, o, -x], [-y, x, o])]
        shifts = np.tile(np.eye(3), (len(nodes), 1, 1))
        return np.concatenate([shifts, np.stack(turns, axis=2)], axis=2)


def _free_motions(
    rigid: _Motions,
    fixed: Sequence[FixedComponent],
    linear: Sequence[LinearConstraint],
    held: Sequence[FloatArray] = (),
) -> FloatArray:
    """Combinations of the rigid motions that nothing fixes, shape (motions, left)."""
    rows = [*held]
    rows += [rigid.at(group.nodes)[:, group.component] for group in fixed]
    for constraint in linear:
        dependent, independent = (
            rigid.at(pairs[:, 0])[np.arange(len(pairs)), pairs[:, 1]]
            for pairs in (constraint.dependent, constraint.independent)
        )
        rows.append(dependent - constraint.factor * independent)
    action = np.concatenate([np.zeros((1, rigid.count)), *rows])  # of the supports on the motions
    _, values, motions = np.linalg.svd(action.T @ action)
    return np.asarray(motions[values < _FREE * max(1.0, values[0])].T)
