# SPDX-License-Identifier: MIT
"""Harmonics of walls that are slack around the axis, against the relaxed energy of a membrane.

A film that is slack across its tension has the energy ω(λ) of a strip in uniaxial tension, where λ is its
largest stretch (Pipkin, IMA J. Appl. Math. 36, 85, 1986, from memory). Own derivations from it.
"""

import dolfinx_solver  # noqa: F401  (orders MPI ahead of the bindings)

import numpy as np
import pytest
from counting import Judged, turns
from models import SLIDING, neo_hookean, tube_body
from scipy.optimize import brentq

from annelid.solver.assembly.system import System
from annelid.solver.energy.problem import Problem
from annelid.solver.harmonics.amplitudes import PerturbedProblem
from annelid.solver.harmonics.moduli import StateModuli
from annelid.solver.model.boundary import Foundation
from annelid.solver.model.model import Model
from annelid.solver.model.natural_stretch import NaturalStretch
from annelid.solver.model.parts import Part

H, L = 0.002, 2.0  # mm, thickness and length of tubes of middle radius 1 mm
WIDER = 1.3  # natural stretch around
LONGER = 1.2  # axial stretch


def tube(natural=1.0, **more):
    body = tube_body(length=L, A=1 - H / 2, along=L / 8, layers=[("wall", H)], through=1)
    part = Part("wall", neo_hookean(), folds=True, natural_stretch=NaturalStretch(hoop=natural))
    return Model(body, (part,), SLIDING, **more)


def relaxed(x):
    """ω of the largest stretch, in terms of the tangents along hoop and axis, shape (3, 2) row by row."""
    F = x.reshape(3, 2)
    λ = np.sqrt(np.linalg.eigvalsh(F.T @ F)[-1])
    return (λ**2 + 2 / λ - 3) / 2


def second_derivatives(f, x, h=1e-4):
    steps = h * np.eye(len(x))

    def mixed(d, e):
        return (f(x + d + e) - f(x + d - e) - f(x - d + e) + f(x - d - e)) / (4 * h**2)

    return np.array([[mixed(d, e) for e in steps] for d in steps])


@pytest.mark.exact
def test_the_moduli_are_those_of_the_relaxed_energy():
    """Once the pressure and the tangent across the wall have followed those in its plane.

    The shear stiffness is λ S/(λ² - λ_h²): the tension turns with the wall.
    """
    problem = Problem(tube())
    system = System(problem)
    λ, squeeze = 1.3, 0.7
    R, Z = problem.model.body.points.T
    across = λ**-0.5  # F = diag(across, squeeze, λ) at R = 1
    u = np.stack([(across - 1) * R + squeeze - across, (λ - 1) * Z], axis=1)
    x = system.x
    system.blocks.set_part(x, 0, u[problem.node_of_dof].ravel())
    system.blocks.set_part(x, 1, np.full(len(system.blocks.part(x, 1)), across**2 - (2 / λ + λ**2) / 3))
    system.read_x()
    moduli = StateModuli(PerturbedProblem(problem))
    moduli.update()
    every = moduli.H.x.array.reshape(-1, 10, 10)
    middle = len(every) // len(problem.model.body.cells) // 2  # the point in the middle of a cell
    found = every[middle] / (2 * np.pi)
    plane, others = [1, 2, 4, 5, 7, 8], [0, 3, 6, 9]
    coupling = found[np.ix_(others, plane)]
    found = found[np.ix_(plane, plane)] - coupling.T @ np.linalg.solve(
        found[np.ix_(others, others)], coupling
    )
    expected = second_derivatives(relaxed, np.array([0.0, 0.0, squeeze, 0.0, 0.0, λ]))
    shear = 3  # of the hoop along the axis
    assert expected[shear, shear] == pytest.approx(λ * (λ - λ**-2) / (λ**2 - squeeze**2), rel=1e-4)
    assert found == pytest.approx(expected, abs=2e-5)


BED = 0.01  # MPa/mm, of a bed along the normal


def form(m, n, P):
    """Second variation of a film that is slack around, per drawn area, in the amplitudes a, b, c.

    It has the tension along the axis, a bed, and the follower pressure P, in a tube with sliding ends.
    """
    r = BED / (BED - P * LONGER)
    k, s = n * np.pi / L, LONGER**2
    tension, stiffening = H * (1 - s**-1.5) / 2, H * 0.75 * s**-2.5
    Q = tension * k**2 * np.eye(3)
    turn = np.array([0.0, r * k, LONGER * m])
    Q += tension / (WIDER**2 * s - r**2) * np.outer(turn, turn)
    Q[2, 2] += 2 * stiffening * s * k**2
    Q[0, 0] += BED / 2
    Q -= P / 2 * np.array([[LONGER, LONGER * m, r * k], [LONGER * m, LONGER, 0], [r * k, 0, 0]])
    return Q if n else Q[:2, :2]


def critical(m, n):
    return -brentq(lambda q: np.linalg.eigvalsh(form(m, n, -q))[0], 1e-9, 0.6 * BED)


@pytest.mark.exact
@pytest.mark.parametrize(("m", "n"), [(2, 0), (3, 1), (4, 2)])
def test_a_slack_film_on_a_bed_under_suction(m, n):
    """Without waves along the axis P = -k/(λ (m² - 1)): the film is free to move around."""
    P = critical(m, n)
    if n == 0:
        assert abs(P * LONGER * (m**2 - 1) + BED) < 1e-9
    others = sum(np.linalg.eigvalsh(form(m, i, P))[0] < 0 for i in range(8) if i != n)
    judged = Judged(tube(WIDER, foundations=(Foundation("outer", BED, "normal"),)))
    judged.at(steps=2, displacements={"end_high": (LONGER - 1) * L})
    assert turns(judged, m, P, lambda pressure: {"pressure": pressure}) == (others, others + 1)
