# SPDX-License-Identifier: MIT
"""Electrodes that are fed through a resistance, on parts that deform as they charge.

Free film (disc): own derivation. With q = charge/(C0 H √(G/ε)) and s = t/(R C0) the stretch is
(1 + q²)^(1/6), e = q (1 + q²)^(-2/3) and dq/ds = es - e. Per G A0 H the source gives es q, the elastic energy
is (2 λ² + λ⁻⁴ - 3)/2, the electrical energy q e/2, and the rest is Joule heat. The numbers were computed by
quadrature of ds = dq/(es - e), and the energies close to 1e-13.
"""

import math

import numpy as np
import pytest
from dielectric_cases import EPS, MU, RUBBER, disc, follow, sheet, strong, value, volts

from annelid.solver.fluid.charging import Charging, Feed
from annelid.solver.fluid.flow import Flow
from annelid.solver.model.boundary import Electrode, Support
from annelid.solver.model.model import Model
from annelid.solver.model.stages import Stage

THICKNESS = 0.05  # mm
SCALE = volts(1.0, THICKNESS)  # kV
TABLE = {  # es: rows of t/(R C0), e, current, q, stretch, source, elastic, electric, Joule
    0.4: [
        (
            0.5,
            0.155159699,
            0.244840301,
            0.15772235,
            1.00410372,
            0.06308894,
            0.000100357,
            0.01223608,
            0.05075251,
        ),
        (
            2.0,
            0.332119235,
            0.067880765,
            0.36026892,
            1.02054742,
            0.14410757,
            0.002449449,
            0.05982612,
            0.08183200,
        ),
        (
            5.0,
            0.392251205,
            0.007748795,
            0.44175129,
            1.03015692,
            0.17670052,
            0.005196186,
            0.08663874,
            0.08486559,
        ),
    ],
    0.68: [
        (
            0.5,
            0.256906858,
            0.423093142,
            0.26917074,
            1.01172629,
            0.18303610,
            0.000809236,
            0.03457590,
            0.14765096,
        ),
        (
            2.0,
            0.517627455,
            0.162372545,
            0.65786876,
            1.06177009,
            0.44735075,
            0.020768138,
            0.17026547,
            0.25631715,
        ),
        (
            5.0,
            0.619115634,
            0.060884366,
            0.95157871,
            1.11344363,
            0.64707352,
            0.065066459,
            0.29456863,
            0.28743844,
        ),
    ],
}


def fed_film(es, electrics, *, leak=None):
    """States over 5 R C0 after the source is switched on, C0, and the series resistance for R C0 = 1 s."""
    body = disc(THICKNESS)
    area = math.pi * body.points[:, 0].max() ** 2
    capacitance = EPS * area / THICKNESS
    feed = Feed("film", es * SCALE, 1 / capacitance, None if leak is None else leak / capacitance)
    model = Model(
        body,
        (sheet("film", THICKNESS),),
        (Support("end_low", "axial"),),
        electrodes=(Electrode("film"),),
        electrics=electrics,
        flow=Flow(charging=Charging((feed,))),
    )
    states, outcome = follow(
        model,
        Stage("rest", voltages={"film": 0.0}, steps=1),
        Stage("on", control="flow", duration=5.0, steps=200),
    )
    assert outcome.kind == "reached", outcome.text
    return states, capacitance, area


@pytest.mark.exact
@pytest.mark.parametrize(
    ("es", "electrics"),
    [
        (0.4, "layered"),
        pytest.param(0.68, "layered", marks=pytest.mark.long),
        pytest.param(0.4, "solved", marks=pytest.mark.long),
    ],
)
def test_a_free_film_charges_through_a_resistance(es, electrics):
    states, capacitance, area = fed_film(es, electrics)
    energy = MU * area * THICKNESS
    for t, e, current, q, stretch, *energies in TABLE[es]:
        state = min(states, key=lambda s: abs(value(s, "time") - t))
        assert value(state, "time") == pytest.approx(t)
        assert value(state, "electrode voltage film") == pytest.approx(e * SCALE, rel=1e-3)
        assert value(state, "current film") == pytest.approx(current * SCALE * capacitance, rel=2e-3)
        assert value(state, "charge film") == pytest.approx(q * SCALE * capacitance, rel=1e-3)
        assert value(state, "mean radial expansion") == pytest.approx(stretch - 1, rel=2e-3)
        names = ("energy of the sources", "strain energy", "stored electrical energy", "resistive loss")
        found = [value(state, name) / energy for name in names]
        assert found == pytest.approx(energies, rel=1e-3, abs=1e-5)
        assert value(state, "electrical energy put in") / energy == pytest.approx(
            sum(energies[1:3]), rel=1e-3
        )
        assert value(state, "unstable modes under control") == 0


@pytest.mark.long
@pytest.mark.rate
def test_the_error_falls_with_the_square_of_the_time_step():
    t, e = 2.0, 0.332119235
    errors = []
    for steps in (20, 40, 80):
        body = disc(THICKNESS)
        capacitance = EPS * math.pi * body.points[:, 0].max() ** 2 / THICKNESS
        feed = Feed("film", 0.4 * SCALE, 1 / capacitance)
        model = Model(
            body,
            (sheet("film", THICKNESS, material=RUBBER),),
            (Support("end_low", "axial"),),
            electrodes=(Electrode("film"),),
            flow=Flow(charging=Charging((feed,))),
        )
        states, _ = follow(
            model,
            Stage("rest", voltages={"film": 0.0}, steps=1),
            Stage("on", control="flow", duration=t, steps=steps),
        )
        errors.append(abs(value(states[-1], "electrode voltage film") / SCALE - e))
    orders = np.log2(np.array(errors[:-1]) / errors[1:])
    assert (orders > 1.7).all(), (errors, orders)
    assert errors[-1] < 5e-5


def test_a_leak_divides_the_voltage():
    # In the end the source feeds the leak alone: V = Vs R_l/(R + R_l).
    states, _, _ = fed_film(0.2, "layered", leak=4.0)
    assert value(states[-1], "electrode voltage film") == pytest.approx(0.16 * SCALE, rel=5e-3)
    sources = value(states[-1], "energy of the sources")
    parts = ("electrical energy put in", "resistive loss", "leak loss")
    assert sum(value(states[-1], name) for name in parts) == pytest.approx(sources, rel=1e-4)
    assert value(states[-1], "leak loss") > 0.3 * sources


def test_what_is_left_of_a_discharged_voltage_is_no_load():
    body = disc(THICKNESS)
    capacitance = EPS * math.pi * body.points[:, 0].max() ** 2 / THICKNESS
    model = Model(
        body,
        (sheet("film", THICKNESS, material=strong(field=80.0)),),
        (Support("end_low", "axial"),),
        electrodes=(Electrode("film"),),
        flow=Flow(charging=Charging((Feed("film", None, 1 / capacitance),))),
    )
    states, outcome = follow(
        model,
        Stage("rest", voltages={"film": 0.0}, steps=1),
        Stage("on", control="flow", duration=5.0, voltages={"film": 0.4 * SCALE}, steps=5),
        Stage("off", control="flow", duration=1.0, voltages={"film": 0.0}, steps=5),
        Stage("wait", control="flow", duration=200.0, steps=40),
    )
    assert outcome.kind == "reached"
    charged = [s for s in states if s.stage == "on"][-1]
    assert charged.loads["voltage film"].value > 0.2 * SCALE
    assert 1 < value(charged, "breakdown margin") < 100
    assert states[-1].loads["voltage film"].value == 0
    assert value(states[-1], "breakdown margin") == math.inf
