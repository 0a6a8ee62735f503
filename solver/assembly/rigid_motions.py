# SPDX-License-Identifier: MIT
"""Floating supports: single nodes held against the rigid motions that nothing else holds."""

from collections.abc import Sequence

import numpy as np

from annelid.geometry.body import Body, FloatArray, IntArray
from annelid.solver.assembly.constraints import Fixed, Tie

_FREE = 1e-9  # singular value below which a rigid motion is free, of the largest


def floating(body: Body, surface: str, fixed: Sequence[Fixed], ties: Sequence[Tie]) -> list[Fixed]:
    """Hold as few displacement components as there are rigid motions left, where these move most.

    Args:
        body: The meshed part.
        surface: The floating surface.
        fixed: What is held already.
        ties: What follows what already.

    Returns:
        One component of one node for each motion, none if there is none left.
    """
    free = _free_motions(body, fixed, ties)
    if not free.shape[1]:
        return []
    from scipy.linalg import qr

    nodes, size = body.surface_nodes(surface), body.points.shape[1]
    moved = (_motions(body, nodes) @ free).reshape(len(nodes) * size, -1)
    moved[_bound(nodes, size, fixed, ties)] = 0.0
    _, _, order = qr(moved.T, mode="economic", pivoting=True)
    chosen = order[: free.shape[1]]
    return [Fixed("", int(i % size), nodes[[i // size]], surface) for i in chosen]


def _bound(nodes: IntArray, size: int, fixed: Sequence[Fixed], ties: Sequence[Tie]) -> IntArray:
    """Places, of all components of some nodes, of those that are held or follow others already."""
    held = [size * group.nodes + group.component for group in fixed]
    held += [size * tie.slaves[:, 0] + tie.slaves[:, 1] for tie in ties]
    every = (size * nodes[:, None] + np.arange(size)).ravel()
    return np.flatnonzero(np.isin(every, np.concatenate([np.empty(0, dtype=np.int64), *held])))


def _motions(body: Body, nodes: IntArray) -> FloatArray:
    """Rigid motions of a model at nodes, each of about unit size, shape (k, dim, motions)."""
    points = body.points[nodes]
    if body.model == "axisymmetric":
        return np.tile(np.array([[[0.0], [1.0]]]), (len(nodes), 1, 1))
    centre, span = body.points.mean(axis=0), float(np.ptp(body.points, axis=0).max())
    x, y, z = ((points - centre) / span).T
    o = np.zeros_like(x)
    turns = [np.stack(turn, axis=1) for turn in ([o, -z, y], [z, o, -x], [-y, x, o])]
    shifts = np.tile(np.eye(3), (len(nodes), 1, 1))
    return np.concatenate([shifts, np.stack(turns, axis=2)], axis=2)


def _free_motions(body: Body, fixed: Sequence[Fixed], ties: Sequence[Tie]) -> FloatArray:
    """Combinations of the rigid motions that nothing holds, shape (motions, left)."""
    rows = [_motions(body, held.nodes)[:, held.component] for held in fixed]
    for tie in ties:
        slave, master = (
            _motions(body, pairs[:, 0])[np.arange(len(pairs)), pairs[:, 1]]
            for pairs in (tie.slaves, tie.masters)
        )
        rows.append(slave - tie.factor * master)
    count = _motions(body, np.array([0])).shape[2]
    held = np.concatenate([np.zeros((1, count)), *rows])
    _, values, motions = np.linalg.svd(held.T @ held)
    return np.asarray(motions[values < _FREE * max(1.0, values[0])].T)
