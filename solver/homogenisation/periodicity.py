# SPDX-License-Identifier: MIT
"""Periodicity of a unit cell: which nodes follow which, and one that is fixed."""

import numpy as np

from annelid.geometry.body import Body, FloatArray, IntArray
from annelid.geometry.errors import InvalidValue
from annelid.solver.constraints.constraints import LinearConstraint


def periodic_constraints(body: Body, period: tuple[float, float]) -> tuple[LinearConstraint, IntArray]:
    """Constraints of the nodes on the far edges to those on the near ones.

    Args:
        body: The cell.
        period: Its periods along x and y, mm.

    Returns:
        The constraint, and rows (far node, near node, steps along x, steps along y).

    Raises:
        InvalidValue: A node has no partner on the opposite edge.
    """
    slip = 1e-6 * max(period)
    x = body.points
    far = [np.abs(x[:, j] - period[j]) < slip for j in (0, 1)]
    far_nodes = np.flatnonzero(far[0] | far[1])
    steps = np.stack([far[0][far_nodes], far[1][far_nodes]], axis=1).astype(np.int64)
    wanted = x[far_nodes].copy()
    wanted[:, :2] -= steps * np.array(period)
    near = np.flatnonzero(((np.abs(x[:, 0]) < slip) | (np.abs(x[:, 1]) < slip)) & ~(far[0] | far[1]))
    partners = near[_partners(x[near], wanted, slip)] if len(near) else near
    if len(partners) != len(far_nodes):
        raise InvalidValue("nodes on opposite edges of the unit cell do not match", key="period")
    rows = [
        np.stack([side, np.full(len(side), i)], axis=1) for i in range(3) for side in (far_nodes, partners)
    ]
    periodic = LinearConstraint(np.concatenate(rows[::2]), np.concatenate(rows[1::2]))
    return periodic, np.column_stack([far_nodes, partners, steps])


def _partners(points: FloatArray, wanted: FloatArray, slip: float) -> IntArray:
    from scipy.spatial import cKDTree

    distance, which = cKDTree(points).query(wanted)
    if np.max(distance, initial=0.0) > slip:
        raise InvalidValue("nodes on opposite edges of the unit cell do not match", key="period")
    return np.asarray(which, dtype=np.int64)


def pinned_node(body: Body, periodic: LinearConstraint) -> IntArray:
    """A node on the plane of symmetry, off the edges and nearest to the middle, to fix translations."""
    x = body.points
    span = np.ptp(x, axis=0)
    off = np.ones(len(x), dtype=bool)
    off[np.concatenate([periodic.dependent[:, 0], periodic.independent[:, 0]])] = False
    off &= np.abs(x[:, 2] - x[:, 2].min()) < 1e-9 * max(span)
    inside = np.flatnonzero(off)
    middle = x[:, :2].min(axis=0) + span[:2] / 2
    return inside[[int(np.argmin(np.linalg.norm(x[inside, :2] - middle, axis=1)))]]
