# SPDX-License-Identifier: MIT
"""How much larger the error in a hole is than the penalty predicts: cross-validation by patches."""

import numpy as np
from scipy.spatial import cKDTree

from annelid.compare.measured.cells import Cells
from annelid.compare.measured.penalised import FitResult, PenalisedFit
from annelid.geometry.body import FloatArray

_FOLDS, _PATCHES = 4, 12
_APART = 4.0  # radii of a patch between the middles of two of one fold
_LEVEL, _NORMAL = 0.95, 1.959964  # two-sided quantile of the normal distribution
_MOST = 10.0
_FEWEST = 10  # cells that count


def places_of(cells: Cells) -> FloatArray:
    """X, Y, Z of cells, shape (c, 3), mm."""
    x, y = cells.radius * np.cos(cells.angle), cells.radius * np.sin(cells.angle)
    return np.column_stack([x, y, cells.height])


def hole_factor(fitter: PenalisedFit, fit: FitResult, cells: Cells, radius: float) -> float:
    """Factor on standard deviations in holes that brings 95 % of cells in trial holes into their intervals.

    Round patches of measured cells are left out, fitted again with the same smoothing, and compared.

    Args:
        fitter: The fit of all cells.
        fit: Its result.
        cells: The cells.
        radius: Radius of the patches: the largest distance of a place in a hole from a measured one, mm.

    Returns:
        At least 1.
    """
    places = places_of(cells)
    tree = cKDTree(places)
    squares = []
    for fold in range(_FOLDS):
        middles = _middles(places, radius, np.random.default_rng(fold))
        inside = np.unique(np.concatenate(tree.query_ball_point(places[middles], radius)).astype(np.int64))
        kept = np.ones(len(places))
        kept[inside] = 0.0
        rest = np.flatnonzero(kept)
        gap = np.asarray(cKDTree(places[rest]).query(places[inside])[0])
        deep = inside[gap > 0.5 * gap.max()]
        if len(deep) < _FEWEST or len(rest) < _FEWEST:
            continue
        trial = fitter.without(kept)
        found = trial.with_smoothing(fit.logarithms)
        angle, height = cells.angle[deep], cells.height[deep]
        error = cells.radius[deep] - trial.values(found, angle, height)
        noise = fit.variance / np.maximum(fitter.weight[deep], 1e-9)
        deviation = trial.deviations(found, angle, height)
        # The square of the factor with which the cell, which has noise of its own, is just in its interval.
        squares.append(((error / _NORMAL) ** 2 - noise) / deviation**2)
    if not squares:
        return 1.0
    return float(np.sqrt(np.clip(np.quantile(np.concatenate(squares), _LEVEL), 1.0, _MOST**2)))


def _middles(places: FloatArray, radius: float, random: np.random.Generator) -> list[int]:
    """Numbers of cells that are far from each other, in random order."""
    chosen: list[int] = []
    for number in random.permutation(len(places)):
        far = all(np.linalg.norm(places[number] - places[other]) > _APART * radius for other in chosen)
        if far:
            chosen.append(int(number))
        if len(chosen) == _PATCHES:
            break
    return chosen
