# SPDX-License-Identifier: MIT
"""Walls that carry no compression, against tension-field theory.

Formulas: Reissner 1938, Pipkin 1986, Steigmann 1990 (from memory), re-derived; the tabulated values were computed
from them apart from this program, those of the annulus and of the rings by two ways each. Films are thin,
H = 0.01 of the radius, so a model of their thickness comes within 0.5 % of them.
"""

from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from dielectric_cases import EPS, MU, RUBBER, volts
from models import CLAMPED, SLIDING, last_of, neo_hookean, reached, run, tube_body, value

from annelid.geometry.meshing.build import build
from annelid.geometry.meshing.mesh_size import MeshSize
from annelid.geometry.shapes.balloon import Balloon
from annelid.geometry.shapes.band import Band
from annelid.geometry.shapes.meridian import Meridian
from annelid.geometry.shapes.meridian_profiles import sphere
from annelid.geometry.shapes.shape import Layer
from annelid.solver.model.boundary import Electrode, Support
from annelid.solver.model.material import Material
from annelid.solver.model.model import Model
from annelid.solver.model.natural_stretch import NaturalStretch
from annelid.solver.model.parts import Fibres, Part, Sheets
from annelid.solver.model.stages import Stage

pytestmark = pytest.mark.exact

H = 0.01  # mm, thickness of films of radius 1 mm
LOAD = 5e-3  # relative error allowed of a load or a size


def film(material=None, **more):
    return Part("wall", material or neo_hookean(), folds=True, **more)


def straight(*knots, flat=False):
    """A straight meridian from radius 1 outwards, or along the axis, with cell edges at the knots between."""

    def curve(q):
        along, zero = np.stack([q, 0 * q], axis=1), np.zeros((len(q), 2))
        place, slope = np.array([1.0, 0.0]) + along, np.broadcast_to([1.0, 0.0], (len(q), 2))
        if flat:
            return place, slope, zero
        return place[:, ::-1] * [0, 1] + [1 - H / 2, -1.0], slope[:, ::-1], zero

    return Meridian("straight", curve, knots, knots[1:-1])


def tube(part, lz, *, electrics=None, length=0.5):
    """A tube of middle radius 1, and the stage that takes it to its length."""
    bands = (Band("whole", "wall", 0.0, length),) if electrics else ()
    body = tube_body(length=length, A=1 - H / 2, along=length, layers=[("wall", H)], through=1, bands=bands)
    model = Model(
        body,
        (part,),
        SLIDING,
        electrodes=(Electrode("whole"),) if electrics else (),
        electrics=electrics or "layered",
    )
    return model, Stage("pull", displacements={"end_high": (lz - 1) * length}, steps=1)


def middle_radius(state, model):
    r = model.body.points[:, 0] + state.displacement[:, 0]
    return np.sqrt((r.min() ** 2 + r.max() ** 2) / 2)


# lz, pressure P R/(μ H), nominal field over √(μ/ε), stretch around, natural axial stretch
UNDER_VOLTAGE = (
    (1.0, 0.0, 0.3, 1.0164, 1.0164),
    (1.0, 0.0, 0.6, 1.10003, 1.10003),
    (1.0, 0.1, 0.2, 1.03843, 1.0),
    (1.0, 0.1, 0.6, 1.15515, 1.09587),
    (1.1, 0.0, 0.5, 1.04332, 1.1),
    (1.1, 0.1, 0.5, 1.08906, 1.1),
    (1.1, 0.1, 0.65, 1.23532, 1.1654),
)
SOLVED = (UNDER_VOLTAGE[3], UNDER_VOLTAGE[5])


def under_voltage(row, electrics):
    lz, p, e, *_ = row
    model, pull = tube(film(RUBBER, sheets=Sheets(1, H)), lz, electrics=electrics)
    on = Stage("on", voltages={"whole": volts(e, H)}, steps=2)
    stages = [pull] * (lz > 1) + [Stage("inflate", pressure=p * MU * H, steps=1)] * (p > 0)
    return model, [*stages, on]


@pytest.mark.parametrize(
    "row, electrics",
    [*((row, "layered") for row in UNDER_VOLTAGE), *((row, "solved") for row in SOLVED)],
    ids=lambda x: x if isinstance(x, str) else "lz {} p {} e {}".format(*x),
)
def test_tube_of_held_length_goes_slack_under_voltage(row, electrics):
    """Taut: e² = (1 - λ⁻⁴ lz⁻²)/lz² at p = 0; slack: the wall is as long as it would be free."""
    lz, p, _, around, natural = row
    model, stages = under_voltage(row, electrics)
    state = last_of(reached(model, stages), "on")
    assert middle_radius(state, model) == pytest.approx(around, rel=LOAD)
    assert value(state, "folded axial length") == pytest.approx(1 - lz / natural, abs=LOAD)
    # Without axial tension the energy at given pressure is concave in the local height: folds gather in places.
    assert state.unstable_modes == (p > 0 and natural > lz)


def test_pressurised_tube_loses_stability_where_it_goes_slack():
    """e² = (1 - p lz)/lz² - (1 - p lz)²/lz⁸ with p = P R/(μ H)."""
    lz, p = 1.1, 0.3
    model, stages = under_voltage((lz, p, 0.62), "layered")
    outcome, states = run(model, stages)
    slack = np.sqrt((1 - p * lz) / lz**2 - (1 - p * lz) ** 2 / lz**8)
    assert slack == pytest.approx(0.586774, rel=1e-5)
    critical = next(s for s in states if s.critical)
    assert critical.loads["voltage whole"].value == pytest.approx(volts(slack, H), rel=LOAD)
