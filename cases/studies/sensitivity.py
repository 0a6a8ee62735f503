# SPDX-License-Identifier: MIT
"""Sensitivity of a quantity: Sobol indices if the sampling allows them, else rank correlations."""

from collections.abc import Sequence

import numpy as np

from annelid.geometry.body import FloatArray
from annelid.results.study.study_data import Sensitivity

__all__ = ["rank_correlations", "sobol_indices"]


_MIN_RUNS = 8
_RESAMPLES = 500
_NORMAL_95 = 1.959964


def sobol_indices(
    quantity: str, names: Sequence[str], values: FloatArray, *, seed: int = 0
) -> Sensitivity | None:
    """Sobol indices of first and total order with bootstrap confidence intervals.

    The estimators are those of Saltelli et al., Computer Physics Communications 181 (2010) 259, in the
    implementation of SALib.

    Args:
        quantity: Name of the quantity.
        names: The sampled variables.
        values: The quantity, NaN without a result: first for the samples A, then for B, then for A with one
            column after another taken from B, shape (samples * (variables + 2),).
        seed: Seed of the resampling.

    Returns:
        The indices; ``None`` if too few samples are complete or the quantity does not vary.
    """
    from SALib.analyze import sobol

    count = len(names)
    blocks = values.reshape(count + 2, -1)  # A, B, mixtures
    complete = np.isfinite(blocks).all(axis=0)
    if complete.sum() < _MIN_RUNS or np.ptp(blocks[:, complete]) == 0.0:
        return None
    kept = blocks[:, complete]
    ordered = np.concatenate([kept[:1], kept[2:], kept[1:2]]).T.ravel()
    problem = {"num_vars": count, "names": list(names), "bounds": [[0.0, 1.0]] * count}
    found = sobol.analyze(
        problem, ordered, calc_second_order=False, num_resamples=_RESAMPLES, conf_level=0.95, seed=seed
    )
    array = {key: np.asarray(found[key], dtype=float) for key in ("S1", "S1_conf", "ST", "ST_conf")}
    halves = {key: np.tile(array[key], (2, 1)) for key in ("S1_conf", "ST_conf")}
    used, left_out = (int(n.sum()) * (count + 2) for n in (complete, ~complete))
    return Sensitivity(
        quantity,
        "sobol",
        tuple(names),
        array["S1"],
        halves["S1_conf"],
        array["ST"],
        halves["ST_conf"],
        used,
        left_out,
    )


def rank_correlations(
    quantity: str, names: Sequence[str], variables: FloatArray, values: FloatArray
) -> Sensitivity | None:
    """Spearman's rank correlations with 95 % confidence intervals.

    Intervals by Fisher's transform with the standard error of Bonett and Wright, Psychometrika 65 (2000) 23:
    sqrt((1 + r^2/2) / (n - 3)).

    Args:
        quantity: Name of the quantity.
        names: The variables.
        variables: Their values, shape (runs, variables).
        values: The quantity, NaN without a result, shape (runs,).

    Returns:
        The correlations; ``None`` if there are too few runs, or the quantity or a variable is constant.
    """
    from scipy.stats import rankdata

    complete = np.isfinite(values) & np.isfinite(variables).all(axis=1)
    count = int(complete.sum())
    if count < _MIN_RUNS:
        return None
    table = np.column_stack([values, variables])[complete]
    if (np.ptp(table, axis=0) == 0.0).any():
        return None
    correlations = np.asarray(np.corrcoef(rankdata(table, axis=0), rowvar=False))
    found: FloatArray = correlations[0, 1:]
    centre = np.arctanh(np.clip(found, -1 + 1e-12, 1 - 1e-12))
    half = _NORMAL_95 * np.sqrt((1.0 + found**2 / 2.0) / (count - 3))
    halves = np.maximum([found - np.tanh(centre - half), np.tanh(centre + half) - found], 0.0)
    left_out = int((~complete).sum())
    return Sensitivity(quantity, "rank", tuple(names), found, halves, None, None, count, left_out)
