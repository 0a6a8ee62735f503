# SPDX-License-Identifier: MIT
"""Covariance of a pose from the residuals of its fit."""

import numpy as np

from annelid.compare.alignment.fine import FREE, TUKEY, Fit
from annelid.compare.alignment.surface import NominalSurface
from annelid.geometry.body import FloatArray

_PATCHES = 100  # patches that the surface is divided into, roughly


def pose_covariance(fit: Fit, surface: NominalSurface) -> FloatArray:
    """Return the covariance of the motion about the centroid, without the free motions, shape (6, 6).

    Residuals that are alike over a patch (a true difference of shape, a waviness of the scanner) are not
    independent, so the sums over patches are taken as the independent ones: the sandwich estimate for
    M-estimators (Huber 1967) with clusters (Liang and Zeger 1986), from memory. Units are rad and mm.
    """
    u = np.minimum(np.abs(fit.residual) / (TUKEY * fit.deviation), 1.0) ** 2
    used = fit.weight > 0
    basis = fit.motions[:, fit.fixed >= FREE]
    rows = fit.rows[:, :6] @ basis
    slope = np.where(used, (1.0 - u) * (1.0 - 5.0 * u), 0.0)  # derivative of the influence
    matrix = rows.T @ (slope[:, None] * rows)
    influence = (fit.weight * fit.residual)[:, None] * rows
    patch = surface.patches(fit.foot, _PATCHES)
    sums = np.zeros((int(patch.max()) + 1, rows.shape[1]))
    np.add.at(sums, patch, influence)
    count = np.unique(patch[used]).size
    inverse = np.linalg.inv(matrix)
    middle = sums.T @ sums * (count / max(count - 1, 1))
    return np.asarray(basis @ (inverse @ middle @ inverse) @ basis.T)
