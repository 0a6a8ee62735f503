# SPDX-License-Identifier: MIT
"""The tensor D ≥ 0 of least energy at many points, and its response to a change of ∂w/∂D.

At the least energy G = ∂w/∂D ≥ 0 and D G = 0. The stiffness of a wall would jump where it goes slack, so the
corner is rounded off by an energy ν [tr D/δ - log det(1 + D/δ)] with ν = μ δ² and a tiny δ. It keeps D above
-δ and is zero with its gradient at D = 0: an unloaded wall has no stress. D + δ = p(Y) then is a smooth
function of an unknown Y with the equations

    G + ν/δ = (p(Y) - Y)/τ,   p(ξ) = ½ (ξ + √(ξ² + 4 τ ν)) of the principal values ξ of Y,   any τ > 0,

which Newton's method solves (smoothing Newton method; Chen, Mangasarian, Comput. Optim. Appl. 5, 97, 1996,
from memory). With the derivative P of p and H = ∂G/∂D the response of D to a change of G is
M = (H + (P⁻¹ - 1)/τ)⁻¹.

Tensors are written with the components (11, 22, √2 12).
"""

from collections.abc import Callable
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from annelid.geometry.body import FloatArray

ROUND = 1e-7
"""δ: D within which the corner between taut and slack is rounded off, a strain of half as much."""

_ITERATIONS, _HALVINGS = 40, 10
_CONVERGED, _SETTLED = 1e-11, 1e-6  # change of D, and of Y, that a further step would make
_LARGEST = 200.0  # D beyond which none is found: the energy at given pressure may fall for ever
_LARGEST_STEP = 0.6  # of 1 + D
_LEAST_CURVATURE = 1e-3  # of the largest one of a point
_ROUNDING = 1e-14  # of an energy
_ONE = np.array([1.0, 1.0, 0.0])


class LocalEnergy(NamedTuple):
    """Energy w at points, of shape (cells, k), ∂w/∂D, (cells, k, 3), and ∂²w/∂D∂D, (cells, k, 3, 3)."""

    w: FloatArray
    g: FloatArray
    H: FloatArray


class _Trial(NamedTuple):
    """Y, τ, D + δ = p(Y), what is known there, and the whole energy."""

    Y: FloatArray
    τ: FloatArray
    D: FloatArray
    local: LocalEnergy
    energy: FloatArray


Evaluate = Callable[[NDArray[np.intp], FloatArray], LocalEnergy]


def least_energy(evaluate: Evaluate, μ: FloatArray, D: FloatArray) -> tuple[FloatArray, FloatArray, bool]:
    """D ≥ 0 of least energy at the points of cells.

    Args:
        evaluate: Energy and its derivatives of the cells of some rows at D of these.
        μ: Modulus of the cells, shape (cells,), MPa.
        D: First guess, shape (cells, points, 3).

    Returns:
        D, M of shape (cells, points, 3, 3), and whether they were found at all points.
    """
    ν = (μ * ROUND**2)[:, None]
    rows = np.arange(len(D))
    D, M = D.copy(), np.zeros((*D.shape, 3))
    here = _first(evaluate(rows, D), ν, D + ROUND * _ONE)
    for _ in range(_ITERATIONS):
        if not np.isfinite(here.local.H).all() or here.D.max(initial=0.0) > _LARGEST:
            return D, M, False
        step, P, H = _step(here, ν[rows])
        change = np.einsum("...ij,...j->...i", P, step)
        size = np.maximum(np.abs(change).max(axis=-1) / _CONVERGED, np.abs(step).max(axis=-1) / _SETTLED)
        moves = (size > 1 + here.D.max(axis=-1)).any(axis=-1)
        done = rows[~moves]
        D[done], M[done] = here.D[~moves] - ROUND * _ONE, _response(P, H, here.τ)[~moves]
        rows = rows[moves]
        if not rows.size:
            return D, M, True
        start = _Trial(
            here.Y[moves], here.τ[moves], here.D[moves], _rows(here.local, moves), here.energy[moves]
        )
        here = _lower(evaluate, rows, ν[rows], start, step[moves])
    return D, M, False


def _rows(local: LocalEnergy, rows: NDArray[np.bool_]) -> LocalEnergy:
    return LocalEnergy(*(values[rows] for values in local))


def _first(local: LocalEnergy, ν: FloatArray, D: FloatArray) -> _Trial:
    """Y of a known D."""
    ξ, axes = _principal(D)
    ξ = np.maximum(ξ, ROUND * 1e-9)
    τ = _scale(local.H)
    Y = _tensor(ξ - (τ * ν)[..., None] / ξ, axes)
    return _Trial(Y, τ, _tensor(ξ, axes), local, _energy(local, ξ, ν))


def _energy(local: LocalEnergy, ξ: FloatArray, ν: FloatArray) -> FloatArray:
    return local.w + ν * (ξ / ROUND - np.log(ξ)).sum(axis=-1)


def _lower(
    evaluate: Evaluate, rows: NDArray[np.intp], ν: FloatArray, start: _Trial, step: FloatArray
) -> _Trial:
    """A step, shortened where it does not lower the energy."""
    rounding = _ROUNDING * np.abs(start.local.H).max(axis=(-1, -2))
    step = step.copy()
    for _ in range(_HALVINGS):
        Y = start.Y + step
        ξ, axes = _principal(Y)
        ξ = _p(ξ, (start.τ * ν)[..., None])
        D = _tensor(ξ, axes)
        local = evaluate(rows, D - ROUND * _ONE)
        there = _Trial(Y, start.τ, D, local, _energy(local, ξ, ν))
        worse = ~(there.energy <= start.energy + rounding)
        if not worse.any():
            break
        step[worse] /= 2
    return there


def _step(here: _Trial, ν: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Newton's step of Y, not far, with P and H, whose curvatures are made positive."""
    H = _positive(here.local.H)
    τ = here.τ
    P = _slope(*_principal(here.Y), (τ * ν)[..., None])
    defect = τ[..., None] * (here.local.g + ν[..., None] / ROUND * _ONE) - (here.D - here.Y)
    matrix = np.eye(3) - P + τ[..., None, None] * H @ P
    step = -np.linalg.solve(matrix, defect[..., None])[..., 0]
    largest = _LARGEST_STEP * (1 + np.abs(here.D).max(axis=-1))
    size = np.maximum(np.abs(step).max(axis=-1), 1e-300)
    return step * np.minimum(1.0, largest / size)[..., None], P, H


def _response(P: FloatArray, H: FloatArray, τ: FloatArray) -> FloatArray:
    """M, symmetric."""
    wide = τ[..., None, None]
    M = wide * P @ np.linalg.inv(np.eye(3) - P + wide * H @ P)
    return (M + np.swapaxes(M, -1, -2)) / 2


def _p(ξ: FloatArray, square: FloatArray) -> FloatArray:
    """½ (ξ + √(ξ² + 4 square)), without cancellation."""
    root = np.sqrt(ξ**2 + 4 * square)
    return np.where(ξ > 0, (ξ + root) / 2, 2 * square / (root - np.minimum(ξ, 0.0)))


def _slope(ξ: FloatArray, axes: FloatArray, square: FloatArray) -> FloatArray:
    """Derivative P of p(Y), shape (..., 3, 3)."""
    root = np.sqrt(ξ**2 + 4 * square)
    along = _p(ξ, square) / root
    # Of the shear: (p1 - p2)/(ξ1 - ξ2) = ½ (1 + (ξ1 + ξ2)/(root1 + root2)).
    shear = (1 + ξ.sum(axis=-1) / root.sum(axis=-1)) / 2
    basis = _basis(axes)
    return np.einsum(
        "...ia,...a,...ja->...ij", basis, np.concatenate([along, shear[..., None]], axis=-1), basis
    )


def _principal(D: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Principal values, ascending, shape (..., 2), and cosine and sine of the axis of the first, (..., 2)."""
    mean, half, shear = (D[..., 0] + D[..., 1]) / 2, (D[..., 0] - D[..., 1]) / 2, D[..., 2] * np.sqrt(0.5)
    radius = np.hypot(half, shear)
    angle = np.arctan2(shear, half) / 2 + np.pi / 2
    axes = np.stack([np.cos(angle), np.sin(angle)], axis=-1)
    # The smaller one in size from the determinant: it may be far below rounding of the other one.
    far = mean + np.copysign(radius, mean)
    near = (D[..., 0] * D[..., 1] - shear**2) / np.where(far == 0, 1.0, far)
    values = np.where((mean >= 0)[..., None], np.stack([near, far], axis=-1), np.stack([far, near], axis=-1))
    return values, axes


def _basis(axes: FloatArray) -> FloatArray:
    """The tensors 11, 22 and √½ (12 + 21) of principal axes as columns, shape (..., 3, 3)."""
    c, s = axes[..., 0], axes[..., 1]
    cc, ss, cs = c * c, s * s, np.sqrt(2.0) * c * s
    first, second = np.stack([cc, ss, cs], axis=-1), np.stack([ss, cc, -cs], axis=-1)
    return np.stack([first, second, np.stack([-cs, cs, cc - ss], axis=-1)], axis=-1)


def _tensor(values: FloatArray, axes: FloatArray) -> FloatArray:
    return np.einsum("...ia,...a->...i", _basis(axes)[..., :2], values)


def _scale(H: FloatArray) -> FloatArray:
    """τ: the inverse of the largest curvature."""
    return 1 / np.abs(H).sum(axis=-1).max(axis=-1)


def _positive(H: FloatArray) -> FloatArray:
    """H with its least curvatures raised to a positive one."""
    values, axes = np.linalg.eigh((H + np.swapaxes(H, -1, -2)) / 2)
    values = np.maximum(values, _LEAST_CURVATURE * np.abs(values).max(axis=-1, keepdims=True))
    return np.einsum("...ia,...a,...ja->...ij", axes, values, axes)
