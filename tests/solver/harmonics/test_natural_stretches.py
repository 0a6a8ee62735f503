# SPDX-License-Identifier: MIT
"""Natural stretch that varies, and deposited parts: the same tube drawn another way has the same modes.

Exact suctions of the first lobes as in ``test_tubes_by_lobes``.
"""

from dataclasses import replace

import dolfinx_solver  # noqa: F401  (orders MPI ahead of the bindings)

import numpy as np
import pytest
from counting import Judged, turns
from exact import tube as exact
from models import FOLLOW, SLIDING, neo_hookean, tube_body

from annelid.solver.continuation.path import Path
from annelid.solver.harmonics.stability import HarmonicStability
from annelid.solver.model.loads import Loads
from annelid.solver.model.model import Model
from annelid.solver.model.natural_stretch import NaturalField
from annelid.solver.model.parts import Part
from annelid.solver.model.stages import Stage

A, B, LA = 1.0, 1.5, 1.3
a, b = exact.radius(np.array([A, B]), A, LA, 1.0)  # of the tube as inflated


def drawn_inflated(layers=(), through=16):
    """A tube drawn as inflated, with other layers outside of it, and its natural stretch."""
    every = [("skin", b - a), *layers]
    body = tube_body(A=a, length=0.125, along=0.125, through=through, layers=every)
    R = body.points[:, 0]
    return body, NaturalField(np.sqrt(A**2 + np.minimum(R, b) ** 2 - a**2) / R, np.ones_like(R))


@pytest.mark.long
@pytest.mark.exact
def test_a_tube_drawn_as_inflated():
    body, natural = drawn_inflated()
    model = Model(body, (Part("skin", neo_hookean(), natural_stretch=natural),), SLIDING)
    judged = Judged(model, start=Loads(natural=0.0)).at(natural=1.0, steps=8)
    assert [judged.count(m) for m in range(4)] == [0, 0, 0, 0]
    for m, suction in ((2, 0.0688764), (3, 0.215462)):
        assert turns(judged, m, suction, lambda P: {"pressure": -P}) == (0, 1), m


@pytest.mark.long
def test_a_deposited_layer_is_one_without_stress_as_drawn():
    """The tube is in equilibrium as it is drawn, so a layer deposited on it has no stress there."""
    body, natural = drawn_inflated(layers=(("layer", 0.1),), through=12)
    R = body.points[:, 0]
    face = np.flatnonzero(np.abs(R - b) < 1e-9)
    foot = np.arange(len(R))
    beyond = np.flatnonzero(R - b > 1e-9)
    foot[beyond] = face[np.abs(body.points[beyond, 1:] - body.points[face, 1]).argmin(axis=1)]
    parts = (Part("skin", neo_hookean(), natural_stretch=natural), Part("layer", neo_hookean(3.0)))
    P, _ = exact.pressure_and_force(exact.mooney_rivlin(0.5), A, B, LA, 1.0)
    stiffness = []
    for deposited in ((), ("layer",)):
        model = Model(replace(body, base_node=foot), parts, SLIDING, drawn_pressure=P, deposited=deposited)
        path = Path(model, [Stage("release", pressure=-0.2, steps=3)], stepping=FOLLOW)
        assert path.follow().kind == "reached"
        harmonics = HarmonicStability(path.system)
        stiffness.append([harmonics.mode(m).stiffness for m in range(5)])
    assert stiffness[1] == pytest.approx(stiffness[0], rel=1e-3)
    assert min(stiffness[0]) < 0.1 * max(stiffness[0])
