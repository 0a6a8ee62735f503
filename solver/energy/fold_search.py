# SPDX-License-Identifier: MIT
"""The tensor D ≥ 0 of least energy at many points, and its response to a change of ∂w/∂D.

Least energy means D = P(D - τ G) for any τ > 0, with the gradient G = ∂w/∂D and the projection P of symmetric
tensors of the plane on those without negative eigenvalues. P has a derivative: in the axes of X = D - τ G with
the eigenvalues ξ1 > 0 > ξ2 it leaves the component 11 as it is, multiplies 12 by ξ1/(ξ1 - ξ2), and takes 22
away. Newton's method on this equation finds how many directions fold, and which (semi-smooth Newton method; Sun,
Sun, Math. Oper. Res. 27, 150, 2002, from memory). Where it does not lower the energy, a step down the gradient
is taken.

Tensors are written with the components (11, 22, √2 12).
"""

from collections.abc import Callable
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from annelid.geometry.body import FloatArray

_ITERATIONS, _HALVINGS = 40, 12
_GRADIENT = 3  # halvings after which the step is down the gradient
_CONVERGED = 1e-11  # change of D that a further step would make
_TAUT = 1e-9  # the same, below which a direction without folds counts as taut: the unloaded wall is
_LARGEST = 200.0  # D beyond which none is found: the energy at given pressure may fall for ever
_MARGINAL = 1e-9  # D below which the tangent is that of a taut wall: steps from it are not wild
_LARGEST_STEP = 0.6  # of 1 + D
_LEAST_CURVATURE = 1e-3  # of the largest one of a point
_ROUNDING = 1e-14  # of an energy


class LocalEnergy(NamedTuple):
    """Energy w at some points, of any shape (...), ∂w/∂D, (..., 3), and ∂²w/∂D∂D, (..., 3, 3)."""

    w: FloatArray
    g: FloatArray
    H: FloatArray


def least_energy(
    evaluate: Callable[[NDArray[np.intp], FloatArray], LocalEnergy], D: FloatArray
) -> tuple[FloatArray, LocalEnergy, bool]:
    """D ≥ 0 of least energy at the points of cells.

    Args:
        evaluate: Energy and its derivatives of the cells of some rows at D of these.
        D: First guess, shape (cells, points, 3).

    Returns:
        D, the values there, and whether it was found at all points.
    """
    D = D.copy()
    rows = np.arange(len(D))
    every = evaluate(rows, D)
    for _ in range(_ITERATIONS):
        here = LocalEnergy(*(values[rows] for values in every))
        if not (np.isfinite(here.g).all() and np.isfinite(here.H).all()) or D.max(initial=0.0) > _LARGEST:
            return D, every, False
        step = _step(D[rows], here)
        moves = (np.abs(step).max(axis=-1) > _CONVERGED * (1 + np.abs(D[rows]).max(axis=-1))).any(axis=-1)
        rows = rows[moves]
        if not rows.size:
            return D, every, True
        here = LocalEnergy(*(values[moves] for values in here))
        D[rows], there = _lower(lambda trial: evaluate(rows, trial), D[rows], step[moves], here)
        for values, new in zip(every, there, strict=True):
            values[rows] = new
    return D, every, False


def response(D: FloatArray, here: LocalEnergy) -> FloatArray:
    """M = -∂D/∂g where g = ∂w/∂D changes, shape (..., 3, 3): symmetric, zero where taut."""
    H = _positive(here.H)
    τ = _scale(H)
    ξ, axes = _principal(D)
    γ = np.maximum(_along(here.g, axes), 0.0)
    folds = ξ > _MARGINAL
    X = np.where(folds, ξ, -τ[..., None] * γ)
    P = _projection(X, folds, axes)
    M = np.linalg.solve(np.eye(3) - P + τ[..., None, None] * P @ H, τ[..., None, None] * P)
    return (M + np.swapaxes(M, -1, -2)) / 2


def _lower(
    evaluate: Callable[[FloatArray], LocalEnergy], D: FloatArray, step: FloatArray, here: LocalEnergy
) -> tuple[FloatArray, LocalEnergy]:
    """D after a step, shortened and turned down the gradient where it does not lower the energy."""
    rounding = _ROUNDING * np.abs(here.H).max(axis=(-1, -2))
    trial = _projected(D + step)
    there = evaluate(trial)
    down = -_scale(here.H)[..., None] * here.g
    for halving in range(1, _HALVINGS + 1):
        worse = ~(there.w <= here.w + rounding)
        if not worse.any():
            break
        way = step if halving < _GRADIENT else down
        shorter = 0.5 ** (halving if halving < _GRADIENT else halving - _GRADIENT)
        trial[worse] = _projected(D + shorter * way)[worse]
        there = evaluate(trial)
    return trial, there


def _step(D: FloatArray, here: LocalEnergy) -> FloatArray:
    """Newton's step for D = P(D - τ G), not far; curvatures are made positive."""
    H = _positive(here.H)
    τ = _scale(H)
    ξ, axes = _principal(D - τ[..., None] * here.g)
    folds = ξ > _TAUT
    P = _projection(ξ, folds, axes)
    target = _tensor(np.where(folds, ξ, 0.0), axes)
    step = np.linalg.solve(np.eye(3) - P + τ[..., None, None] * P @ H, (target - D)[..., None])[..., 0]
    size = np.abs(step).max(axis=-1)
    largest = _LARGEST_STEP * (1 + np.abs(D).max(axis=-1))
    return step * np.minimum(1.0, largest / np.maximum(size, 1e-300))[..., None]


def _projection(ξ: FloatArray, folds: NDArray[np.bool_], axes: FloatArray) -> FloatArray:
    """Derivative of the projection of tensors with principal values ξ, in the order of ``_principal``."""
    along = folds.astype(float)
    apart = np.maximum(ξ[..., 1] - ξ[..., 0], 1e-300)
    both, none = folds.all(axis=-1), ~folds.any(axis=-1)
    shear = np.where(both, 1.0, np.where(none, 0.0, np.clip(ξ[..., 1] / apart, 0.0, 1.0)))
    basis = _basis(axes)
    weights = np.concatenate([along, shear[..., None]], axis=-1)
    return np.einsum("...ia,...a,...ja->...ij", basis, weights, basis)


def _principal(D: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Principal values, ascending, shape (..., 2), and cosine and sine of the axis of the first, (..., 2)."""
    mean, half, shear = (D[..., 0] + D[..., 1]) / 2, (D[..., 0] - D[..., 1]) / 2, D[..., 2] * np.sqrt(0.5)
    radius = np.hypot(half, shear)
    angle = np.arctan2(shear, half) / 2 + np.pi / 2
    axes = np.stack([np.cos(angle), np.sin(angle)], axis=-1)
    return np.stack([mean - radius, mean + radius], axis=-1), axes


def _basis(axes: FloatArray) -> FloatArray:
    """The tensors 11, 22 and √½ (12 + 21) of principal axes as columns, shape (..., 3, 3)."""
    c, s = axes[..., 0], axes[..., 1]
    cc, ss, cs = c * c, s * s, np.sqrt(2.0) * c * s
    first, second = np.stack([cc, ss, cs], axis=-1), np.stack([ss, cc, -cs], axis=-1)
    return np.stack([first, second, np.stack([-cs, cs, cc - ss], axis=-1)], axis=-1)


def _along(T: FloatArray, axes: FloatArray) -> FloatArray:
    """Components 11 and 22 of a tensor along axes."""
    return np.einsum("...ia,...i->...a", _basis(axes)[..., :2], T)


def _tensor(values: FloatArray, axes: FloatArray) -> FloatArray:
    return np.einsum("...ia,...a->...i", _basis(axes)[..., :2], values)


def _projected(D: FloatArray) -> FloatArray:
    """P(D)."""
    values, axes = _principal(D)
    return _tensor(np.maximum(values, 0.0), axes)


def _scale(H: FloatArray) -> FloatArray:
    """τ: the inverse of the largest curvature."""
    return 1 / np.abs(H).sum(axis=-1).max(axis=-1)


def _positive(H: FloatArray) -> FloatArray:
    """H with its least curvatures raised to a positive one."""
    values, axes = np.linalg.eigh((H + np.swapaxes(H, -1, -2)) / 2)
    values = np.maximum(values, _LEAST_CURVATURE * np.abs(values).max(axis=-1, keepdims=True))
    return np.einsum("...ia,...a,...ja->...ij", axes, values, axes)
