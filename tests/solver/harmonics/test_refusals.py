# SPDX-License-Identifier: MIT
"""Models whose perturbations do not split into harmonics are refused in words."""

import dolfinx_solver  # noqa: F401  (orders MPI ahead of the bindings)

import pytest
from models import SLIDING, neo_hookean, tube_body

from annelid.geometry.errors import InvalidValue
from annelid.solver.energy.problem import Problem
from annelid.solver.harmonics.amplitudes import PerturbedProblem, why_not
from annelid.solver.model.boundary import Support
from annelid.solver.model.model import Model
from annelid.solver.model.parts import Fibres, Part


def model(*, supports=SLIDING, fibres=None, twist=False, **size):
    part = Part("wall", neo_hookean(), fibres=fibres)
    return Model(tube_body(1.5, **size), (part,), supports, twist=twist)


REFUSED = [
    (model(fibres=Fibres(30.0, 0.1, families=1)), "wind around the axis one way"),
    (model(twist=True), "turn the part about its axis"),
    (model(supports=(Support("outer", "symmetric"), *SLIDING)), "no plane of symmetry"),
    (model(model="sector", sector=90.0, around=8), "axisymmetric models"),
]


@pytest.mark.parametrize(("refused", "words"), REFUSED, ids=[words for _, words in REFUSED])
def test_why_not(refused, words):
    assert words in why_not(refused)
    with pytest.raises(InvalidValue, match=words):
        PerturbedProblem(Problem(refused))


@pytest.mark.parametrize("angle", [30.0, 90.0])
def test_fibres_that_mirror_themselves_are_accepted(angle):
    families = 2 if angle < 90 else 1
    assert why_not(model(fibres=Fibres(angle, 0.1, families=families))) == ""
