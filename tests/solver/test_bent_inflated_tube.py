# SPDX-License-Identifier: MIT
"""Bending of an inflated tube of a film in three dimensions.

The line tension along the axis is k (cos φ + c)⁺ around the tube, so that the first wrinkle appears at the
moment π P R³/2 and the tube collapses at π P R³ (Stein, Hedgepeth, NASA TN D-813, 1961; Comer, Levy, AIAA
J. 1, 1652, 1963; from memory). Between plates that stay parallel the tube is bent by a natural length that
grows across it: the moment of the plates is that of the curvature.
"""

import math

import numpy as np
import pytest
from models import CLOSED, neo_hookean, tube_body
from scipy.optimize import brentq

from annelid.solver.continuation.path import Path
from annelid.solver.model.boundary import Support
from annelid.solver.model.loads import Loads
from annelid.solver.model.model import Model
from annelid.solver.model.natural_stretch import NaturalField
from annelid.solver.model.parts import Part
from annelid.solver.model.stages import Stage

pytestmark = [pytest.mark.exact, pytest.mark.long]

H, L, P = 0.002, 0.5, 1e-3  # mm, mm, pressure R/(μ H): strains are small
HELD = (*CLOSED, Support("outer", "rigid motion"))
SLACK_FROM = (180.0, 120.0, 90.0, 60.0)  # degrees from the most stretched line


def bent(taut):
    """Curvature over P/(E t) and moment over π P R³ of a tube that is taut within an angle, R = 1."""
    c = -math.cos(taut)
    k = math.pi / (2 * (math.sin(taut) + c * taut))
    return k, 2 * k * (taut / 2 + math.sin(2 * taut) / 4 + c * math.sin(taut)) / math.pi


def test_the_closed_form():
    assert bent(math.pi) == pytest.approx((0.5, 0.5))
    assert bent(math.pi / 2) == pytest.approx((math.pi / 2, math.pi / 4))
    nearly = brentq(lambda taut: bent(taut)[1] - 0.999, 0.01, 1.0)
    assert 0.05 < nearly < 0.2  # it collapses with a narrow taut line


def moments(around):
    """Moment over π P R³ at the curvatures at which the tube is slack from given angles on."""
    curvatures = [bent(math.radians(angle))[0] * P / 3 for angle in SLACK_FROM]
    body = tube_body(
        length=L,
        A=1 - H / 2,
        along=L,
        layers=[("wall", H)],
        through=1,
        model="sector",
        sector=180.0,
        around=around,
    )
    X = body.points[:, 0]
    field = NaturalField(np.ones(len(X)), 1 - curvatures[-1] * X)
    model = Model(body, (Part("wall", neo_hookean(), folds=True, natural_stretch=field),), HELD)
    path = Path(model, [Stage("any", pressure=P * H)])
    system, newton = path.system, path.newton
    fixed = body.surface_nodes("end_low")
    found = []
    for fraction in (0.0, *(curvature / curvatures[-1] for curvature in curvatures)):
        newton.solve(Loads(natural=fraction, pressure=P * H))
        forces = system.blocks.part(system.raw, 0).reshape(-1, 3)
        rows = np.isin(system.problem.node_of_dof[: len(forces)], fixed)
        nodes = system.problem.node_of_dof[: len(forces)][rows]
        place = X[nodes] + system.blocks.part(system.x, 0).reshape(-1, 3)[rows, 0]
        found.append(-2 * float(forces[rows, 2] @ place) / (math.pi * P * H))
    return np.array(found)


def test_moment_over_curvature():
    exact = np.array([bent(math.radians(angle))[1] for angle in SLACK_FROM])
    coarse, fine = (moments(around) for around in (12, 36))
    assert abs(fine[0]) < 1e-3
    assert fine[1:] == pytest.approx(exact, rel=5e-3)
    assert (abs(fine[1:] / exact - 1) < abs(coarse[1:] / exact - 1) / 4).all()
