# SPDX-License-Identifier: MIT
"""Three-dimensional models of the same part have the modes of all harmonics, those of m ≥ 1 twice."""

import dolfinx_solver  # noqa: F401  (orders MPI ahead of the bindings)

import pytest
from counting import Judged
from models import CLAMPED, neo_hookean, tube_body

from annelid.solver.model.model import Model
from annelid.solver.model.parts import Part


def clamped(**size):
    """A short clamped tube, no rigid motion of which is free."""
    body = tube_body(1.5, 3.0, along=0.5, through=2, **size)
    return Judged(Model(body, (Part("wall", neo_hookean()),), CLAMPED))


@pytest.mark.reference
@pytest.mark.long
@pytest.mark.slow
def test_a_clamped_tube_under_suction():
    """Two lobes turn between 0.2 and 0.3 μ, three between 0.3 and 0.4 μ; free of ends at 0.07 and 0.22 μ."""
    meridian, solid = clamped(), clamped(model="solid", around=24)
    for pressure, expected in ((0.2, [0, 0, 0, 0, 0]), (0.3, [0, 0, 1, 0, 0]), (0.4, [0, 0, 1, 1, 0])):
        for judged in (meridian, solid):
            judged.at(pressure=-pressure, steps=2)
        counts = [meridian.count(m) for m in range(5)]
        assert counts == expected
        solid.system.factorise()
        assert solid.system.unstable_modes() == counts[0] + 2 * sum(counts[1:])
