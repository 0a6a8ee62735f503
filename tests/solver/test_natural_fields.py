# SPDX-License-Identifier: MIT
"""Natural stretch from place to place, and parts drawn under pressure."""

import numpy as np
import pytest
from exact import tube as exact
from models import SLIDING, neo_hookean, tube_body, value

from geometry.errors import InputError
from solver.errors import NoEquilibrium
from solver.model import Model
from solver.parts import NaturalField, NaturalStretch, Part
from solver.path import follow
from solver.stages import Stage

A, RATIO, LA, MU = 1.0, 1.3, 1.4, 0.5


def inflated_tube(pressure=None, cells=12):
    """A tube drawn as inflated, its natural stretch R/r from the exact solution of the thick tube."""
    R = np.array([A, RATIO * A])
    a, b = exact.radius(R, A, LA, 1.0)
    body = tube_body(b / a, A=a, through=cells)
    r = body.points[:, 0]
    drawn = np.sqrt(A**2 + r**2 - a**2)  # reference radius of what is now at r, lz = 1
    skin = Part("wall", neo_hookean(MU), natural_stretch=NaturalField(drawn / r, np.ones_like(r)))
    P, _ = exact.pressure_and_force(exact.mooney_rivlin(MU / 2), A, RATIO * A, LA, 1.0)
    return Model(body, (skin,), SLIDING, drawn_pressure=P if pressure is None else pressure), P


@pytest.mark.exact
def test_tube_drawn_as_inflated_is_in_balance_and_returns():
    model, P = inflated_tube()
    states = []
    outcome = follow(model, [Stage("release", pressure=0.0, steps=4)], observe=states.append)
    assert outcome.kind == "reached"
    assert "in balance with its pressure" in outcome.remarks[0]
    first, last = states[0], states[-1]
    assert first.loads["pressure"].value == pytest.approx(P)
    assert np.abs(first.displacement).max() < 2e-4
    assert value(first, "smallest stretch") == pytest.approx(1 / LA, rel=2e-3)
    radius = model.body.points[:, 0] + last.displacement[:, 0]
    assert radius.min() == pytest.approx(A, abs=2e-4)
    assert radius.max() == pytest.approx(RATIO * A, abs=2e-4)
    assert value(last, "strain energy") < 1e-5 * value(first, "strain energy")


@pytest.mark.rate
def test_balance_as_drawn_improves_with_the_mesh():
    # A field of straight pieces errs as the square of the element size.
    moved = []
    for cells in (3, 6):
        model, _ = inflated_tube(cells=cells)
        states = []
        follow(model, [Stage("hold", steps=1)], observe=states.append)
        moved.append(np.abs(states[0].displacement).max())
    assert moved[0] / moved[1] > 3.0


def test_a_pressure_that_does_not_belong_is_refused():
    model, P = inflated_tube(pressure=0.0)
    with pytest.raises(NoEquilibrium, match="not in balance with the pressure of 0 kPa"):
        follow(model, [Stage("hold", steps=1)])
    assert P > 0


@pytest.mark.parametrize("hoop", [0.8, 1.2])
def test_a_field_of_one_value_is_the_constant(hoop):
    body = tube_body(1.3)
    everywhere = np.ones(len(body.points))
    found = []
    for natural in (NaturalStretch(hoop=hoop, axial=0.9), NaturalField(hoop * everywhere, 0.9 * everywhere)):
        states = []
        part = Part("wall", neo_hookean(MU), natural_stretch=natural)
        follow(Model(body, (part,), SLIDING), [Stage("settle", steps=2)], observe=states.append)
        found.append(states[-1])
    np.testing.assert_allclose(found[1].displacement, found[0].displacement, atol=1e-10)
    for name in ("strain energy", "peak stress", "largest stretch"):
        assert value(found[1], name) == pytest.approx(value(found[0], name), rel=1e-9)


def test_fields_beyond_reason_are_refused():
    with pytest.raises(InputError, match=r"hoop runs from 0\.01 to 0\.01; it must lie between 0\.05 and 20"):
        NaturalField(np.full(3, 0.01), np.ones(3))
