# SPDX-License-Identifier: MIT
"""Choice between poses in which a scan fits the simulated surface as well, so that scans fit each other."""

from collections.abc import Sequence

import numpy as np

from annelid.geometry.body import FloatArray

_ROUNDS, _STARTS = 20, 8


def agreeing_poses(fields: Sequence[FloatArray], weight: FloatArray) -> tuple[int, ...]:
    """Choose one field of each scan so that the chosen ones differ least from their mean.

    A scan gives the first mean. Every scan then takes the field that is nearest to the mean of the others,
    until none changes (generalised Procrustes analysis over a few poses; Gower 1975). This is done from
    several scans, and the choice with the least scatter is returned.

    Args:
        fields: Deviations of each scan in each of its poses, shape (k, m), ``nan`` where there are none.
        weight: Share of each place in the area, shape (m,).

    Returns:
        Number of the pose of each scan. The first scan that has one pose only, or else the first one of all,
        keeps its own, since a motion of all scans together changes nothing.
    """
    if all(len(own) == 1 for own in fields):
        return (0,) * len(fields)
    fixed = next((i for i, own in enumerate(fields) if len(own) == 1), 0)
    starts = np.unique(np.linspace(0, len(fields) - 1, _STARTS).astype(int))
    chosen = [_settled(fields, weight, fields[start][0], fixed) for start in starts]
    return min(chosen, key=lambda choice: _scatter(fields, choice, weight))


def _settled(
    fields: Sequence[FloatArray], weight: FloatArray, mean: FloatArray, fixed: int
) -> tuple[int, ...]:
    choice = [0 if i == fixed else _nearest(own, mean, weight) for i, own in enumerate(fields)]
    total, number = _sums(fields, choice)
    for _ in range(_ROUNDS):
        before = list(choice)
        for i, own in enumerate(fields):
            if i != fixed and len(own) > 1:
                # Its own field is taken out of the mean first.
                total, number = total - np.nan_to_num(own[choice[i]]), number - np.isfinite(own[choice[i]])
                choice[i] = _nearest(own, _mean(total, number), weight)
                total, number = total + np.nan_to_num(own[choice[i]]), number + np.isfinite(own[choice[i]])
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
    total, number = _sums(fields, choice)
    mean, squares = _mean(total, number), np.zeros(len(weight))
    for own, i in zip(fields, choice, strict=True):
        squares += np.nan_to_num((own[i] - mean) ** 2)
    used = number > 1
    if not used.any():
        return 0.0
    return float((squares[used] / (number[used] - 1)) @ weight[used] / weight[used].sum())


def _sums(fields: Sequence[FloatArray], choice: Sequence[int]) -> tuple[FloatArray, FloatArray]:
    """Sum of the chosen fields at each place, and how many are known there."""
    chosen = [own[i] for own, i in zip(fields, choice, strict=True)]
    total = np.sum([np.nan_to_num(field) for field in chosen], axis=0)
    return total, np.sum([np.isfinite(field) for field in chosen], axis=0, dtype=float)


def _mean(total: FloatArray, number: FloatArray) -> FloatArray:
    return np.asarray(np.where(number > 0, total / np.maximum(number, 1), np.nan))
