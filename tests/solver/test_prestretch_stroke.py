# SPDX-License-Identifier: MIT
"""Stroke of a dielectric tube with and without a constant prestretching force: common practice, no source.

An unstretched part elongates about 5 %, a prestretched part several times more. Both have the same silicone
wall of ten sheets of 45 um, with realistic numbers, and the same voltage. The stroke under a constant force
also follows from the energy of a membrane, own derivation.
"""

import numpy as np
import pytest
from models import last_of, tube_body, value
from scipy.optimize import fsolve

from annelid.geometry.shapes.band import Band
from annelid.solver.continuation.path import follow
from annelid.solver.energy.properties import EPS0
from annelid.solver.model.boundary import Electrode, Support
from annelid.solver.model.material import Breakdown, Material
from annelid.solver.model.model import Model
from annelid.solver.model.parts import Part, Sheets
from annelid.solver.model.stages import Stage

MU, PERMITTIVITY, SHEET, COUNT, RADIUS, LENGTH = 0.1, 2.8, 0.045, 10, 10.0, 5.0  # MPa, mm
KILOVOLTS = 1.36
HOLD = 1.6  # stretch along the axis
SILICONE = Material(
    "silicone",
    "neo-hookean",
    {"shear_modulus": MU},
    permittivity=PERMITTIVITY,
    breakdown=Breakdown(80.0),
)


def strokes(force):
    """State energised and stroke of the tube under an axial force, N."""
    wall = COUNT * SHEET
    body = tube_body(
        1 + wall / RADIUS, LENGTH, A=RADIUS, along=LENGTH, bands=(Band("whole", "wall", 0.0, LENGTH),)
    )
    model = Model(
        body,
        (Part("wall", SILICONE, Sheets(COUNT, SHEET)),),
        (Support("end_low", "axial"), Support("end_high", "plate")),
        electrodes=(Electrode("whole"),),
    )
    stages = [
        Stage("hold", forces={"end_high": force}, steps=4),
        Stage("energise", voltages={"whole": KILOVOLTS}, steps=4),
        Stage("off", voltages={"whole": 0.0}, steps=2),
        Stage("again", voltages={"whole": KILOVOLTS}, steps=2),
    ]
    states = []
    outcome = follow(model, stages, observe=states.append)
    assert outcome.kind == "reached", outcome.text
    return states


def membrane(stress, drive):
    """Hoop and axial stretch of a membrane under an axial nominal stress over μ: ∂/∂λ of its energy.

    W/μ = (λ1² + λ2² + 1/(λ1 λ2)²)/2 - drive (λ1 λ2)²/2 - stress λ2, drive = ε E0²/μ.
    """

    def slopes(x):
        a, b = x
        return a - 1 / (a**3 * b**2) - drive * a * b**2, b - 1 / (b**3 * a**2) - drive * b * a**2 - stress

    start = (0.8, HOLD) if stress else (1.0, 1.0)
    return fsolve(slopes, start, xtol=1e-12)


@pytest.mark.exact
def test_a_stretched_part_elongates_several_times_more():
    drive = EPS0 * PERMITTIVITY * (KILOVOLTS / SHEET) ** 2 / MU
    stress = HOLD - HOLD**-2
    section = np.pi * ((RADIUS + COUNT * SHEET) ** 2 - RADIUS**2)
    found = []
    for pull in (0.0, stress):
        states = strokes(pull * MU * section)
        energised = last_of(states, "energise")
        found.append(value(energised, "axial stroke"))
        expected = membrane(pull, drive)[1] / membrane(pull, 0.0)[1] - 1
        # The exact membrane has no thickness: the wall here is 4.5 % of its radius.
        assert found[-1] == pytest.approx(expected, rel=0.02)
        assert value(last_of(states, "again"), "axial stroke") == pytest.approx(found[-1], rel=1e-6)
        assert value(energised, "breakdown margin") > 1.2
    bare, held = found
    assert 0.045 < bare < 0.055
    assert 2.5 < held / bare < 6.0
