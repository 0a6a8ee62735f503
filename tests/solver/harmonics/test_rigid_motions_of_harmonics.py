# SPDX-License-Identifier: MIT
"""Rigid motions: not counted where supports allow them, and no part of a mode.

Unloaded bodies and bodies under an even pressure are stable. Dead forces that press a free body from both
ends turn it over, as their potential is -N L cos of the tilt; that is a rigid motion and not a mode.
"""

import dolfinx_solver  # noqa: F401  (orders MPI ahead of the bindings)

import numpy as np
import pytest
from counting import Judged, turns
from models import CLAMPED, CLOSED, SLIDING, cylinder_body, neo_hookean, tube_body, tube_model

from annelid.solver.model.boundary import Foundation, Support
from annelid.solver.model.model import Model
from annelid.solver.model.parts import Part

FREE = (Support("outer", "rigid motion"),)
SUPPORTS = {
    "free": FREE,
    "sliding": SLIDING,
    "clamped": CLAMPED,
    "closed": CLOSED,
    "radial": (Support("end_low", "radial"), Support("outer", "rigid motion")),
    "chuck": (Support("end_low", "axial twist"),),
    "mirrored": (Support("end_low", "symmetric"),),
}
HARMONICS = range(4)


def tube(supports, **more):
    return Judged(tube_model(tube_body(1.5, 3.0, along=0.5, through=2), neo_hookean(), supports, **more))


@pytest.mark.parametrize("supports", SUPPORTS)
def test_unloaded_tubes_are_stable(supports):
    """And the mode of least stiffness deforms the part, so that its stiffness is not that of rounding."""
    judged = tube(SUPPORTS[supports])
    assert [judged.count(m) for m in HARMONICS] == [0, 0, 0, 0]
    for m in HARMONICS:
        assert judged.harmonics.mode(m).stiffness > 1e-3
    same = [judged.count(m) for m in HARMONICS for _ in range(3)]
    assert same == [0] * 12


def test_a_free_body_under_even_pressure_is_stable():
    """Pressure all around an incompressible body does nothing, but rotates with it."""
    body = cylinder_body(1.0, 3.0, (4, 6))
    model = Model(body, (Part("core", neo_hookean()),), FREE, pressed=tuple(body.surfaces))
    judged = Judged(model)
    unloaded = [judged.harmonics.mode(m).stiffness for m in HARMONICS]
    judged.at(surface_pressures=dict.fromkeys(body.surfaces, 0.7))
    assert [judged.count(m) for m in HARMONICS] == [0, 0, 0, 0]
    pressed = [judged.harmonics.mode(m).stiffness for m in HARMONICS]
    assert pressed == pytest.approx(unloaded, rel=1e-6)
    amplitude = judged.harmonics.mode(1).amplitude
    on_axis = np.isclose(body.points[:, 0], 0.0)
    assert amplitude[on_axis, 0] == pytest.approx(-amplitude[on_axis, 1], abs=1e-9)
    assert amplitude[on_axis, 2] == pytest.approx(0.0, abs=1e-9)


@pytest.mark.exact
def test_dead_forces_that_tilt_a_free_column():
    """It buckles like one with hinged ends, at Euler's load; tilting alone is not counted."""
    radius, length = 1.0, 40.0
    euler = 3 * np.pi**2 * np.pi / 4 * radius**4 / length**2
    body = cylinder_body(radius, length, (2, 20))
    judged = Judged(Model(body, (Part("core", neo_hookean()),), FREE))

    def press(N):
        return {"forces": {"end_low": N, "end_high": -N}}

    judged.at(**press(0.9 * euler))
    assert judged.count(1) == 0
    judged.at(**press(1.1 * euler))
    assert judged.count(1) == 1
    assert [judged.count(m) for m in (0, 2)] == [0, 0]


@pytest.mark.exact
def test_a_bed_holds_the_translation():
    """A soft bed does not change the pressure at which a short tube gets two lobes."""
    supports = (*SLIDING, Support("outer", "rigid motion"))
    body = tube_body(1.5, 0.125, along=0.125, through=4)
    model = tube_model(body, neo_hookean(), supports, foundations=(Foundation("outer", 1e-4),))
    judged = Judged(model)
    assert turns(judged, 2, 0.0688764, lambda P: {"pressure": -P}) == (0, 1)
    assert [judged.count(m) for m in (0, 1, 3)] == [0, 0, 0]
    assert judged.harmonics.mode(0).stiffness > 0
