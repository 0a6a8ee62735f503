# SPDX-License-Identifier: MIT
"""Terms of the second variation against three-dimensional energies, summed around the axis by points.

Each is the change of the whole matrix with the stiffness of a bed or obstacle, or with a pressure. The state
is drawn shape, no equilibrium: that is not needed for a second derivative. Twice, because the matrix leaves
out the mean ½ of cos² mθ.
"""

import dolfinx_solver  # noqa: F401  (orders MPI ahead of the bindings)

import numpy as np
import pytest
from models import CLOSED, SLIDING, neo_hookean, tube_body

from annelid.solver.assembly.equations import zero_vector
from annelid.solver.energy.problem import Problem
from annelid.solver.harmonics.amplitudes import PerturbedProblem
from annelid.solver.harmonics.second_variation import SecondVariation
from annelid.solver.model.boundary import Foundation
from annelid.solver.model.contact import Contact
from annelid.solver.model.model import Model
from annelid.solver.model.parts import Part

A, B, L = 1.0, 1.3, 2.0
K = 0.7  # stiffness of beds and obstacles, MPa/mm
STEP = 1e-3  # of second differences
# Obstacles beside the outer surface R = 1.3, 0 ≤ Z ≤ 2, all of which it penetrates; sense and gap of a point.
OBSTACLES = {
    "cylinder": (Contact("c", "outer", "cylinder", 1.2, "inside"), lambda x, y, z: 1.2 - np.hypot(x, y)),
    "core": (Contact("c", "outer", "cylinder", 1.5, "outside"), lambda x, y, z: np.hypot(x, y) - 1.5),
    "cone": (
        Contact("c", "outer", "cone", 1.0, "inside", height=1.0, angle=10.0),
        lambda x, y, z: (1.0 - np.hypot(x, y)) * np.cos(np.deg2rad(10)) + (z - 1.0) * np.sin(np.deg2rad(10)),
    ),
    "sphere": (
        Contact("c", "outer", "sphere", 1.1, "inside", height=0.8),
        lambda x, y, z: 1.1 - np.sqrt(x**2 + y**2 + (z - 0.8) ** 2),
    ),
    "plane": (Contact("c", "outer", "plane", 2.5, "outside"), lambda x, y, z: z - 2.5),
}


def amplitudes(Z):
    """(a, b, c) along Z; c vanishes at the ends."""
    return 0.8 + 0.3 * Z, -0.5 + 0.4 * Z**2, 0.6 * Z * (L - Z)


def places(R, m, step, around=48, along=16):
    """Points of a perturbed cylinder, their tangents along θ and Z, and weights of its drawn area."""
    nodes, weights = np.polynomial.legendre.leggauss(along)
    θ, Z = np.meshgrid(2 * np.pi * np.arange(around) / around, (1 + nodes) * L / 2, indexing="ij")
    area = np.broadcast_to(weights * L / 2 * 2 * np.pi * R / around, θ.shape)
    a, b, c = (step * q for q in amplitudes(Z))
    da, db, dc = 0.3 * step, 0.8 * Z * step, 0.6 * (L - 2 * Z) * step
    cos, sin = np.cos(m * θ), np.sin(m * θ)
    er, et = np.stack([np.cos(θ), np.sin(θ), 0 * θ]), np.stack([-np.sin(θ), np.cos(θ), 0 * θ])
    ez = np.stack([0 * θ, 0 * θ, 1 + 0 * θ])
    x = (R + a * cos) * er + b * sin * et + (Z + c * cos) * ez
    along_θ = (-m * a * sin - b * sin) * er + (R + a * cos + m * b * cos) * et - m * c * sin * ez
    along_Z = da * cos * er + db * sin * et + (1 + dc * cos) * ez
    return x, along_θ, along_Z, area


def second_difference(energy):
    return 2 * (energy(STEP) - 2 * energy(0.0) + energy(-STEP)) / STEP**2


def quadratic_form(problem, m, change):
    """Change of zᵀK(m)z of the amplitudes above when ``change`` is called."""
    perturbed = PerturbedProblem(problem)
    variation = SecondVariation(perturbed)
    z, image = zero_vector(perturbed), zero_vector(perturbed)
    Z = problem.model.body.points[perturbed.node_of_dof, 1]
    values = np.stack(amplitudes(Z), axis=1).ravel()
    z.array_w[: len(values)] = values
    results = []
    for act in (lambda: None, change):
        act()
        variation.assemble()
        variation.set(m)
        variation.matrix.mult(z, image)
        results.append(z.dot(image))
    return results[1] - results[0]


def tube(supports=SLIDING, **more):
    body = tube_body(B / A, L, along=L / 8, through=1)
    return Problem(Model(body, (Part("wall", neo_hookean()),), supports, **more))


@pytest.mark.exact
@pytest.mark.parametrize("m", [1, 3])
@pytest.mark.parametrize("obstacle", OBSTACLES)
def test_obstacles(obstacle, m):
    """With the curvature of the gap around the axis: without it a cylinder misses K ⟨-g⟩ b²/r."""
    contact, gap = OBSTACLES[obstacle]
    problem = tube(contacts=(contact,))
    (stiffness,) = problem.contact_stiffness
    stiffness.value = 0.0

    def close():
        stiffness.value = K

    def energy(step):
        x, _, _, area = places(B, m, step)
        return np.sum(K / 2 * np.maximum(-gap(*x), 0.0) ** 2 * area)

    assert np.all(gap(*places(B, m, STEP)[0]) < 0)  # closed everywhere: no kink
    assert quadratic_form(problem, m, close) == pytest.approx(second_difference(energy), rel=1e-5)


@pytest.mark.exact
@pytest.mark.parametrize("direction", ["normal", "all"])
def test_beds(direction):
    problem = tube(foundations=(Foundation("outer", 0.0, direction),))
    (stiffness,) = problem.fields.foundation_stiffness

    def lay():
        stiffness.value = K

    def energy(step):
        X, _, _, area = places(B, 2, 0.0)
        u = places(B, 2, step)[0] - X
        across = np.sum(u * X * [[[1.0]], [[1.0]], [[0.0]]], axis=0) / B
        return np.sum(K / 2 * (across**2 if direction == "normal" else np.sum(u * u, axis=0)) * area)

    assert quadratic_form(problem, 2, lay) == pytest.approx(second_difference(energy), rel=1e-5)


@pytest.mark.exact
@pytest.mark.parametrize("m", [1, 2])
@pytest.mark.parametrize("supports", [SLIDING, CLOSED], ids=["open", "plate"])
def test_follower_pressure_is_that_of_the_volume(supports, m):
    """The ends of the tube stay plane, whether the pressure acts on the wall alone or also on a plate."""
    problem = tube(supports)

    def inflate():
        problem.pressures["lumen"].value = K

    def minus_work(step):
        x, along_θ, along_Z, area = places(A, m, step)
        n = np.cross(along_θ, along_Z, axis=0)
        return -K * np.sum((x[0] * n[0] + x[1] * n[1]) / 2 * area / A)

    assert quadratic_form(problem, m, inflate) == pytest.approx(second_difference(minus_work), rel=1e-5)
