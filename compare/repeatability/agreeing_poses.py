# SPDX-License-Identifier: MIT
"""Choice between poses in which a scan fits the simulated surface as well, so that scans fit each other."""

from collections.abc import Sequence

import numpy as np

from annelid.compare.repeatability.point_spread import known_mean
from annelid.geometry.body import FloatArray

_ROUNDS = 20


def agreeing_poses(fields: Sequence[FloatArray], weight: FloatArray) -> tuple[int, ...]:
    """Choose one field of each scan so that the chosen ones differ least from their mean.

    Each scan in turn gives the first mean. Every scan then takes the field that is nearest to the mean of the
    others, until none changes (generalised Procrustes analysis over a few poses; Gower 1975). The choice
    with the smallest sum of squares is returned.

    Args:
        fields: Deviations of each scan in each of its poses, shape (k, m), ``nan`` where there are none.
        weight: Share of each place in the area, shape (m,).

    Returns:
        Number of the pose of each scan. The first scan that has one pose only, or else the first one of all,
        keeps its own, since a motion of all scans together changes nothing.
    """
    fixed = next((i for i, own in enumerate(fields) if len(own) == 1), 0)
    chosen = [_settled(fields, weight, fields[start][0], fixed) for start in range(len(fields))]
    return min(chosen, key=lambda choice: _scatter(fields, choice, weight))


def _settled(
    fields: Sequence[FloatArray], weight: FloatArray, mean: FloatArray, fixed: int
) -> tuple[int, ...]:
    choice = [0 if i == fixed else _nearest(own, mean, weight) for i, own in enumerate(fields)]
    for _ in range(_ROUNDS):
        before = list(choice)
        for i, own in enumerate(fields):
            if i != fixed and len(own) > 1:
                others = [fields[j][choice[j]] for j in range(len(fields)) if j != i]
                choice[i] = _nearest(own, known_mean(np.array(others)), weight)
        if choice == before:
            break
    return tuple(choice)


def _nearest(own: FloatArray, mean: FloatArray, weight: FloatArray) -> int:
    """Number of the field nearest to a mean where both are known; the first if they share no place."""
    off = (own - mean) ** 2
    known = np.isfinite(off)
    area = known @ weight
    if not (area > 0.0).all():
        return 0
    return int(np.argmin(np.where(known, off, 0.0) @ weight / area))


def _scatter(fields: Sequence[FloatArray], choice: Sequence[int], weight: FloatArray) -> float:
    """Mean variance of the chosen fields over the places that at least two scans saw."""
    chosen = np.array([own[i] for own, i in zip(fields, choice, strict=True)])
    known = np.isfinite(chosen)
    number = known.sum(axis=0)
    off = np.where(known, chosen - known_mean(chosen), 0.0) ** 2
    used = number > 1
    if not used.any():
        return 0.0
    return float((off.sum(axis=0)[used] / (number[used] - 1)) @ weight[used] / weight[used].sum())
