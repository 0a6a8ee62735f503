# SPDX-License-Identifier: MIT
"""Convergence on the thick neo-Hookean tube: the displacement error falls with the cube of the mesh size."""

import numpy as np
import pytest
from exact import tube
from models import SLIDING, neo_hookean, reached, tube_body, tube_model

from annelid.geometry.body import Body, FloatArray
from annelid.geometry.elements import shape_gradients, shape_values
from annelid.solver.model.stages import Stage

pytestmark = [pytest.mark.rate, pytest.mark.exact]

RATIO, LA = 2.0, 1.5  # B/A, and the inner stretch at the pressure applied
ORDER = 3.0  # of quadratic displacement in L2
ALLOWED = 0.25  # below it, on the last refinement


def gauss(dimension: int) -> tuple[FloatArray, FloatArray]:
    """Five-point rule in [0, 1]^d: points (k, d), weights (k,)."""
    x, w = np.polynomial.legendre.leggauss(5)
    grids = np.meshgrid(*[(x + 1) / 2] * dimension, indexing="ij")
    weights = np.meshgrid(*[w / 2] * dimension, indexing="ij")
    return np.stack([g.ravel() for g in grids], axis=1), np.prod([g.ravel() for g in weights], axis=0)


def error(body: Body, displacement: FloatArray) -> float:
    """Relative L2 error of the displacement, r² = a² + R² - A², no axial motion."""
    points, weights = gauss(body.points.shape[1])
    N, dN = shape_values(body.cell_type, points), shape_gradients(body.cell_type, points)
    X = np.einsum("kn,cnd->ckd", N, body.points[body.cells])
    u = np.einsum("kn,cnd->ckd", N, displacement[body.cells])
    jacobian = np.linalg.det(np.einsum("cni,knj->ckij", body.points[body.cells], dN))
    R = X[..., 0] if body.model == "axisymmetric" else np.hypot(X[..., 0], X[..., 1])
    scale = tube.radius(R, 1.0, LA, 1.0) / R - 1
    exact = X * scale[..., None]
    exact[..., -1] = 0.0
    dV = np.abs(jacobian) * weights * (R if body.model == "axisymmetric" else 1.0)
    return float(np.sqrt((dV * ((u - exact) ** 2).sum(-1)).sum() / (dV * (exact**2).sum(-1)).sum()))


def errors(bodies: list[Body]) -> list[float]:
    P = tube.neo_hookean_pressure(1.0, 1.0, RATIO, LA, 1.0)
    stage = Stage("inflate", pressure=P, steps=2)
    found = []
    for body in bodies:
        state = reached(tube_model(body, neo_hookean(1.0), SLIDING), [stage])[-1]
        found.append(error(body, state.displacement))
    return found


def test_axisymmetric_quadrilaterals():
    found = errors([tube_body(RATIO, length=0.25, along=0.25, through=n) for n in (1, 2, 4, 8)])
    orders = np.log2(np.array(found[:-1]) / found[1:])
    assert orders[-1] > ORDER - ALLOWED, (found, orders)
    assert found[-1] < 1e-5, found
    assert found[1] < 6e-4  # two elements through the wall


def test_hexahedra():
    """A sector, refined through the wall and around it; elements follow the curved boundary."""
    found = errors(
        [
            tube_body(RATIO, length=0.25, along=0.25, through=n, model="sector", sector=90.0, around=8 * n)
            for n in (1, 2, 4)
        ]
    )
    orders = np.log2(np.array(found[:-1]) / found[1:])
    assert orders[-1] > ORDER - ALLOWED, (found, orders)
    assert found[-1] < 8e-5, found
