# SPDX-License-Identifier: MIT
"""Numerical conformal coordinates of an annular surface between two rings.

An annulus has one conformal map onto a straight tube, up to rotations: v is the harmonic function with
constant values on both rings, and u is its conjugate, which increases by 2 pi once around. Both minimise the
Dirichlet energy in the metric of the surface, here over cubic splines (harmonic coordinates as in discrete
conformal maps; Dirichlet's principle and the conjugate function, from memory).
"""

from collections.abc import Callable
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np

from annelid.geometry.body import FloatArray
from annelid.geometry.lattice.chart import PERIOD

if TYPE_CHECKING:
    from scipy.interpolate import NdBSpline
    from scipy.sparse import csr_array

_DEGREE = 3
_AROUND, _ALONG = 96, 96  # intervals of the splines
_POINTS = 4  # Gauss points per interval


def harmonic_map(
    tangents: Callable[[FloatArray], FloatArray], low: float, high: float
) -> "tuple[NdBSpline, NdBSpline]":
    """Return u - theta and v as functions of theta and Z, where u and v are conformal coordinates.

    Args:
        tangents: Function of (theta, Z), shape (k, 2), that returns the derivatives of the position by theta
            and Z, shape (k, 3, 2).
        low: Height Z of the low ring, where v is 0, mm.
        high: Height Z of the high ring, mm.
    """
    from scipy import sparse
    from scipy.interpolate import NdBSpline

    around = _basis(0.0, PERIOD, _AROUND, periodic=True)
    along = _basis(low, high, _ALONG, periodic=False)
    gradient = [sparse.kron(around.slope, along.value, "csr"), sparse.kron(around.value, along.slope, "csr")]
    where = np.stack(np.meshgrid(around.at, along.at, indexing="ij"), axis=-1).reshape(-1, 2)
    derivatives = tangents(where)
    metric = np.einsum("kia,kib->kab", derivatives, derivatives)
    area = np.sqrt(np.linalg.det(metric))
    weight = np.outer(around.weight, along.weight).ravel() * area
    energy = np.linalg.inv(metric) * weight[:, None, None]
    stiffness = sum(
        gradient[a].T @ sparse.diags_array(energy[:, a, b]) @ gradient[b] for a in (0, 1) for b in (0, 1)
    )
    shape = (around.value.shape[1], along.value.shape[1])
    v = _between_rings(stiffness, shape)
    v *= PERIOD / float(v @ (stiffness @ v))
    # u = theta + shift with the least energy: the gradient of theta is (1, 0).
    shift = _pinned(stiffness, -sum(gradient[a].T @ energy[:, a, 0] for a in (0, 1)))
    shift -= shift.mean()

    def spline(values: FloatArray) -> Any:
        table = values.reshape(shape)
        closed = np.concatenate([table, table[:_DEGREE]])
        return NdBSpline((around.knots, along.knots), closed, _DEGREE)

    return spline(shift), spline(v)


class _Basis(NamedTuple):
    """Cubic B-splines at the Gauss points: values, derivatives, weights, points and knots."""

    value: "csr_array"
    slope: "csr_array"
    weight: FloatArray
    at: FloatArray
    knots: FloatArray


def _basis(low: float, high: float, intervals: int, *, periodic: bool) -> _Basis:
    from scipy import sparse
    from scipy.interpolate import BSpline

    step = (high - low) / intervals
    ends = np.arange(1, _DEGREE + 1) * step if periodic else np.zeros(_DEGREE)
    middle = np.linspace(low, high, intervals + 1)
    knots = np.concatenate([low - ends[::-1], middle, high + ends])
    nodes, weights = np.polynomial.legendre.leggauss(_POINTS)
    at = (middle[:-1, None] + step * (nodes + 1) / 2).ravel()
    count = intervals + _DEGREE
    every = BSpline(knots, np.eye(count), _DEGREE)
    wrap = sparse.csr_array(
        (np.ones(count), (np.arange(count), np.arange(count) % intervals if periodic else np.arange(count)))
    )
    value, slope = (sparse.csr_array(every(at, nu=nu)) @ wrap for nu in (0, 1))
    return _Basis(value, slope, np.tile(weights * step / 2, intervals), at, knots)


def _between_rings(stiffness: Any, shape: tuple[int, int]) -> FloatArray:
    """The harmonic function that is 0 on the low ring and 1 on the high ring."""
    number = np.arange(shape[0] * shape[1]).reshape(shape)
    values = np.zeros(number.size)
    values[number[:, -1]] = 1.0
    free = number[:, 1:-1].ravel()
    rows = stiffness.tocsr()[free]
    values[free] = _solve(rows[:, free], -rows @ values)
    return values


def _pinned(stiffness: Any, load: FloatArray) -> FloatArray:
    """The solution whose first coefficient is 0 (the system determines it up to a constant)."""
    return np.concatenate([[0.0], _solve(stiffness.tocsr()[1:, 1:], load[1:])])


def _solve(matrix: Any, load: FloatArray) -> FloatArray:
    """Solve a symmetric system. Measured: five times as fast as with the order for unsymmetric matrices."""
    from scipy.sparse.linalg import splu

    return np.asarray(splu(matrix.tocsc(), permc_spec="MMD_AT_PLUS_A").solve(load))
