# SPDX-License-Identifier: MIT
"""Mean shape and spread at each place of the surface, and how many scans saw it."""

from typing import NamedTuple

import numpy as np

from annelid.compare.repeatability.components import INTERACTION, OPERATOR, PART, REPEAT, variance_components
from annelid.compare.repeatability.listing import ScanDesign
from annelid.geometry.body import FloatArray

_ROUNDS = 20


class PointSpread(NamedTuple):
    """Fields over m places, each of shape (m,), mm; ``nan`` where they are not known.

    Attributes:
        number: How many scans saw the place, a count.
        mean: Mean deviation of the parts, each the mean of its scans.
        deviation: Standard deviation of all scans.
        repeatability: That of repeats by one operator on one part.
        reproducibility: That of results of different operators on one part.
        parts: That between parts.
    """

    number: FloatArray
    mean: FloatArray
    deviation: FloatArray
    repeatability: FloatArray
    reproducibility: FloatArray
    parts: FloatArray


def point_spread(fields: FloatArray, design: ScanDesign) -> PointSpread:
    """Return mean and spread of fields, shape (n, m), mm."""
    known = np.isfinite(fields)
    number = known.sum(axis=0)
    mean = _mean(part_means(fields, design))
    off = np.where(known, fields - _mean(fields), 0.0)
    with np.errstate(divide="ignore", invalid="ignore"):
        deviation = np.where(number > 1, np.sqrt((off**2).sum(axis=0) / (number - 1)), np.nan)
    found = variance_components(fields, design.part, design.operator)
    unknown = np.full(fields.shape[1], np.nan)
    cells = len(np.unique(np.column_stack([design.part, design.operator]), axis=0))
    repeats = np.sqrt(found.of(REPEAT)) if cells < len(fields) else unknown
    both = unknown
    if OPERATOR in found.sources:
        both = np.sqrt(
            sum(found.of(name) for name in (OPERATOR, INTERACTION, REPEAT) if name in found.sources)
        )
    elif cells == len(fields) and len(design.parts) == 1 and len(design.operators) > 1:
        both = deviation
    parts = np.sqrt(found.of(PART)) if PART in found.sources else unknown
    if PART not in found.sources and len(design.parts) > 1 and cells == len(fields):
        parts = deviation
    return PointSpread(number.astype(float), mean, deviation, repeats, both, parts)


def part_means(fields: FloatArray, design: ScanDesign) -> FloatArray:
    """Mean field of each part over its scans, shape (parts, m).

    What a scan is wider all around than the others of its part is shared among all places first, so that
    there is no step at the edge of its holes.
    """
    return np.array([_level_mean(fields[design.part == i]) for i in range(len(design.parts))])


def root_mean_square(field: FloatArray, weight: FloatArray) -> float:
    """Root mean square over the area of a field where it is known; ``nan`` if it is nowhere."""
    known = np.isfinite(field)
    if not known.any():
        return float("nan")
    return float(np.sqrt(np.average(field[known] ** 2, weights=weight[known])))


def _level_mean(fields: FloatArray) -> FloatArray:
    offset = np.zeros((len(fields), 1))
    known = np.isfinite(fields)
    for _ in range(_ROUNDS if len(fields) > 1 and not known.all() else 0):
        off = np.where(known, fields - _mean(fields - offset), 0.0)
        offset = off.sum(axis=1, keepdims=True) / np.maximum(known.sum(axis=1, keepdims=True), 1)
        offset -= offset.mean()
    return _mean(fields - offset)


def _mean(fields: FloatArray) -> FloatArray:
    known = np.isfinite(fields)
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.asarray(np.where(known, fields, 0.0).sum(axis=0) / known.sum(axis=0))
