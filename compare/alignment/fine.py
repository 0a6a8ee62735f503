# SPDX-License-Identifier: MIT
"""Fine alignment: a trimmed point-to-surface fit with Tukey's kernel."""

from collections.abc import Callable
from typing import NamedTuple

import numpy as np
from scipy.linalg import eigh

from annelid.compare.alignment.closest import SurfaceLocator
from annelid.compare.alignment.poses import Pose, mean_square_motion, motion_matrix
from annelid.compare.alignment.surface import BoolArray
from annelid.geometry.body import FloatArray
from annelid.geometry.errors import InputError

FREE = 1e-3  # of the squared movement: smaller parts along the normals do not fix a motion
TUKEY = 4.685  # standard deviations; 95 % efficient for normal errors (Beaton and Tukey 1974, from memory)
_MAD = 1.4826  # standard deviation of normal errors over their median absolute deviation
_CONVERGED = 1e-5  # movement, of the diameter
_MOST_STEPS = 60
_TOUCHING = 1e-9  # of the diameter: nearer points take the normal of the surface
_FEWEST = 12  # points with a partner

type Where = Callable[[FloatArray], BoolArray]
"""Which points of the surface, shape (n, 3), take part."""


class Fit(NamedTuple):
    """A fine alignment.

    Attributes:
        pose: The pose.
        foot: Closest points of the surface, shape (n, 3), mm.
        residual: Signed distances, shape (n,), mm.
        rows: How each residual changes with a motion about the centroid of the surface, shape (n, 6 or 7).
        partner: Whether each point has a partner that takes part in the fit, shape (n,).
        weight: Weight of each point, 0 for outliers and for points without partner, shape (n,).
        deviation: Robust standard deviation of the residuals, mm.
        motions: Motions of unit root mean square movement as columns, the least fixed first, shape (6, 6).
        fixed: How much each is fixed: squared part of its movement along the normals, shape (6,), 0 to 1.
        steps: Number of steps taken.
        converged: Whether the last step was negligible.
    """

    pose: Pose
    foot: FloatArray
    residual: FloatArray
    rows: FloatArray
    partner: BoolArray
    weight: FloatArray
    deviation: float
    motions: FloatArray
    fixed: FloatArray
    steps: int
    converged: bool


def refined(
    pose: Pose,
    points: FloatArray,
    locator: SurfaceLocator,
    *,
    kept: float = 1.0,
    with_scale: bool = False,
    where: Where | None = None,
    most_steps: int = _MOST_STEPS,
) -> Fit:
    """Improve a pose until the robust sum of squared distances to the surface is least.

    Each step is that of Gauss and Newton for the exact distances; motions that the surface does not fix get
    no step. The squared movement along the normals (Gelfand et al. 2003, from memory) shows which these are.

    Args:
        pose: Where to start.
        points: Points of the scan, shape (n, 3), mm.
        locator: The surface.
        kept: Share of the points with the smallest distances that takes part.
        with_scale: Whether a scale is fitted as well.
        where: Which feet take part, by default all.
        most_steps: Largest number of steps.
    """
    centre, tolerance = locator.surface.centroid, _CONVERGED * locator.surface.diameter
    for steps in range(1, most_steps + 1):
        fit = _state(pose, points, locator, kept, with_scale, where)._replace(steps=steps)
        step = _step(fit)
        pose = pose.moved(step, centre)
        growth = step[6] * locator.surface.diameter if with_scale else 0.0
        if step[:6] @ mean_square_motion(fit.foot - centre) @ step[:6] + growth**2 < tolerance**2:
            return fit._replace(converged=True)
    return fit


def free_motions(fit: Fit) -> FloatArray:
    """Return the motions that the surface leaves free as columns, shape (6, f)."""
    return fit.motions[:, fit.fixed < FREE]


def _state(
    pose: Pose,
    points: FloatArray,
    locator: SurfaceLocator,
    kept: float,
    with_scale: bool,
    where: Where | None,
) -> Fit:
    surface, x = locator.surface, pose.apply(points)
    closest = locator.closest(x)
    r, offset = closest.signed, x - closest.foot
    far = np.abs(r) > _TOUCHING * surface.diameter
    gradient = np.where(
        far[:, None], offset / np.where(far, r, 1.0)[:, None], surface.normals[closest.triangle]
    )
    partner = ~closest.beyond if where is None else ~closest.beyond & where(closest.foot)
    if partner.sum() < _FEWEST:
        raise InputError(
            f"alignment: only {partner.sum()} of {len(x)} points have a partner on the {surface.name}; "
            f"at least {_FEWEST} are needed. Check the unit of the scan, and what it shows."
        )
    size = np.abs(r[partner])
    deviation = max(float(_MAD * np.median(size)), _TOUCHING * surface.diameter)
    weight = (1.0 - np.minimum(np.abs(r) / (TUKEY * deviation), 1.0) ** 2) ** 2
    weight *= partner & (np.abs(r) <= np.quantile(size, kept))
    arm = x - surface.centroid
    rows = motion_matrix(arm, gradient)
    if with_scale:
        rows = np.column_stack([rows, np.einsum("ni,ni->n", arm, gradient)])
    smooth = motion_matrix(arm, closest.smooth_normals(surface))
    normal_part = np.einsum("ni,n,nj->ij", smooth, weight, smooth) / weight.sum()
    movement = mean_square_motion(arm, weight)
    try:
        fixed, motions = eigh(normal_part, movement)
    except np.linalg.LinAlgError:
        text = "the points that fit the surface lie on one line, which fixes no pose"
        raise InputError(f"alignment: {text}. Check what the scan shows.") from None
    return Fit(pose, closest.foot, r, rows, partner, weight, deviation, motions, fixed, 0, False)


def _step(fit: Fit) -> FloatArray:
    """The motion that makes the weighted squares least, without a part in the free motions."""
    count = fit.rows.shape[1]
    basis = np.eye(count)[:, 6:]
    basis = np.column_stack([np.pad(fit.motions[:, fit.fixed >= FREE], ((0, count - 6), (0, 0))), basis])
    rows = fit.rows @ basis
    matrix, right = rows.T @ (fit.weight[:, None] * rows), -rows.T @ (fit.weight * fit.residual)
    return np.asarray(basis @ np.linalg.solve(matrix, right))
