# SPDX-License-Identifier: MIT
"""Terms of the second variation against three-dimensional energies, summed around the axis by points.

Each is the change of the whole matrix with the stiffness of a bed or obstacle, or with a pressure. The state
is drawn shape, no equilibrium: that is not needed for a second derivative. Twice, because the matrix leaves
out the mean ½ of cos² mθ.
"""

import dolfinx_solver  # noqa: F401  (orders MPI ahead of the bindings)

import numpy as np
import pytest
from dielectric_cases import EPS0
from models import CLOSED, SLIDING, neo_hookean, tube_body

from annelid.geometry.shapes.band import Band
from annelid.solver.assembly.equations import zero_vector
from annelid.solver.energy.problem import Problem
from annelid.solver.harmonics.amplitudes import PerturbedProblem
from annelid.solver.harmonics.second_variation import SecondVariation
from annelid.solver.model.boundary import Electrode, Foundation
from annelid.solver.model.contact import Contact
from annelid.solver.model.model import Model
from annelid.solver.model.parts import Fibres, Part, Sheets

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


def quadratic_form(problem, m, change=None):
    """zᵀK(m)z of the amplitudes above, or its change when ``change`` is called."""
    perturbed = PerturbedProblem(problem)
    variation = SecondVariation(perturbed)
    z, image = zero_vector(perturbed), zero_vector(perturbed)
    Z = problem.model.body.points[perturbed.node_of_dof, 1]
    values = np.stack(amplitudes(Z), axis=1).ravel()
    z.array_w[: len(values)] = values
    results = [0.0]
    for act in [lambda: None, change] if change else [lambda: None]:
        act()
        variation.assemble()
        variation.set(m)
        variation.matrix.mult(z, image)
        results.append(z.dot(image))
    return results[-1] - results[-2]


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


def state(R, Z):
    """Displacement (u_R, u_Z) of a stretched state that varies."""
    return 0.15 * R + 0.05 * Z**2, 0.25 * Z - 0.04 * R * Z


def deformed(R, θ, Z, m, step):
    """Cartesian place of points of the tube with their perturbation."""
    (u_R, u_Z), (a, b, c) = state(R, Z), amplitudes(Z)
    radial, around = R + u_R + step * a * np.cos(m * θ), step * b * np.sin(m * θ)
    return np.stack(
        [
            radial * np.cos(θ) - around * np.sin(θ),
            radial * np.sin(θ) + around * np.cos(θ),
            Z + u_Z + step * c * np.cos(m * θ),
        ]
    )


def gradient(R, θ, Z, m, step, h=1e-4):
    """F from the axes (R, hoop, Z) to Cartesian ones by differences of fourth order, shape (3, 3, points)."""

    def along(direction):
        def at(k):
            return deformed(*(q + k * h * d for q, d in zip((R, θ, Z), direction, strict=True)), m, step)

        return (8 * (at(1) - at(-1)) - (at(2) - at(-2))) / (12 * h)

    return np.stack([along((1, 0, 0)), along((0, 1, 0)) / R, along((0, 0, 1))], axis=1)


def density(F, fibres, field):
    """ψ (1 + 5/2 (J - 1)²) - ½ |cof F E0|² (2 - J), with ψ neo-Hookean and a balanced pair of fibres."""
    J = np.linalg.det(np.moveaxis(F, -1, 0))
    C = np.einsum("ki...,kj...->ij...", F, F) * J ** (-2 / 3)
    ψ = (np.einsum("ii...", C) - 3) / 2
    angle, k1, k2 = fibres
    for sign in (1, -1):
        f = np.array([0.0, np.cos(angle), sign * np.sin(angle)])
        e = np.maximum(np.einsum("i,ij...,j->...", f, C, f) - 1, 0.0)
        ψ = ψ + k1 / (4 * k2) * (np.exp(k2 * e**2) - 1)
    turned = np.cross(F[:, 1], F[:, 2], axis=0)  # cof F e_R
    return ψ * (1 + 2.5 * (J - 1) ** 2) - field**2 / 2 * np.sum(turned**2, axis=0) * (2 - J)


@pytest.mark.exact
@pytest.mark.parametrize("m", [1, 4])
@pytest.mark.parametrize("kind", ["rubber", "fibres", "field"])
def test_the_density(kind, m):
    """Its second derivative in all directions, of which those of one parity are coupled."""
    fibres = Fibres(35.0, 0.8 if kind == "fibres" else 0.0, 0.5)
    field = 0.6 if kind == "field" else 0.0
    material = neo_hookean(permittivity=2.8)
    part = Part("wall", material, Sheets(1, B - A), fibres=fibres)
    body = tube_body(B / A, L, along=L / 8, through=2, bands=(Band("all", "wall", 0.0, L),))
    problem = Problem(Model(body, (part,), SLIDING, (Electrode("all"),)))
    displacement = np.stack(state(*body.points.T), axis=1)
    problem.unknowns[0].x.array[:] = displacement[problem.node_of_dof].ravel()
    problem.fields.sheet_field.x.array[:] = field / np.sqrt(2.8 * EPS0)
    nodes, weights = np.polynomial.legendre.leggauss(8)
    θ = 2 * np.pi * np.arange(32) / 32
    R, θ, Z = np.meshgrid((A + B) / 2 + (B - A) / 2 * nodes, θ, (1 + nodes) * L / 2, indexing="ij")
    w = np.multiply.outer(
        np.multiply.outer(weights * (B - A) / 2, np.full(32, 2 * np.pi / 32)), weights * L / 2
    )

    def energy(step):
        F = gradient(R.ravel(), θ.ravel(), Z.ravel(), m, step)
        parameters = np.deg2rad(fibres.angle), fibres.stiffness, fibres.stiffening
        return np.sum(density(F, parameters, field) * (w * R).ravel())

    step = 1e-3
    exact = 2 * (energy(step) - 2 * energy(0.0) + energy(-step)) / step**2
    assert quadratic_form(problem, m) == pytest.approx(exact, rel=1e-4)
