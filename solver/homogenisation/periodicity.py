# SPDX-License-Identifier: MIT
"""Seams of a unit cell: which nodes follow which, and one that is held."""

import numpy as np

from annelid.geometry.body import Body, FloatArray, IntArray
from annelid.geometry.errors import InputError
from annelid.solver.assembly.constraints import Tie


def seam_ties(body: Body, period: tuple[float, float]) -> tuple[Tie, IntArray]:
    """Ties of the nodes on the far seams to those on the near ones.

    Args:
        body: The cell.
        period: Its periods along x and y, mm.

    Returns:
        The tie, and rows (slave, master, steps along x, steps along y).

    Raises:
        InputError: A node has no partner across its seam.
    """
    slip = 1e-6 * max(period)
    x = body.points
    far = [np.abs(x[:, j] - period[j]) < slip for j in (0, 1)]
    slaves = np.flatnonzero(far[0] | far[1])
    steps = np.stack([far[0][slaves], far[1][slaves]], axis=1).astype(np.int64)
    wanted = x[slaves].copy()
    wanted[:, :2] -= steps * np.array(period)
    near = np.flatnonzero(((np.abs(x[:, 0]) < slip) | (np.abs(x[:, 1]) < slip)) & ~(far[0] | far[1]))
    masters = near[_partners(x[near], wanted, slip)] if len(near) else near
    if len(masters) != len(slaves):
        raise InputError("unit cell: its seams do not match, node by node", key="period")
    rows = [np.stack([side, np.full(len(side), i)], axis=1) for i in range(3) for side in (slaves, masters)]
    tie = Tie(np.concatenate(rows[::2]), np.concatenate(rows[1::2]))
    return tie, np.column_stack([slaves, masters, steps])


def _partners(points: FloatArray, wanted: FloatArray, slip: float) -> IntArray:
    from scipy.spatial import cKDTree

    distance, which = cKDTree(points).query(wanted)
    if np.max(distance, initial=0.0) > slip:
        raise InputError("unit cell: its seams do not match, node by node", key="period")
    return np.asarray(which, dtype=np.int64)


def pinned(body: Body, tie: Tie) -> IntArray:
    """One node on the plane of symmetry, on no seam and nearest to the middle, held against drifting."""
    x = body.points
    span = np.ptp(x, axis=0)
    off = np.ones(len(x), dtype=bool)
    off[np.concatenate([tie.slaves[:, 0], tie.masters[:, 0]])] = False
    off &= np.abs(x[:, 2] - x[:, 2].min()) < 1e-9 * max(span)
    inside = np.flatnonzero(off)
    middle = x[:, :2].min(axis=0) + span[:2] / 2
    return inside[[int(np.argmin(np.linalg.norm(x[inside, :2] - middle, axis=1)))]]
