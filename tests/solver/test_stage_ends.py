# SPDX-License-Identifier: MIT
"""Stages that end at a limit of a quantity, against closed forms of the load there.

Sources: incompressible neo-Hookean bar, σ = μ (λ² - 1/λ) (Treloar, The Physics of Rubber Elasticity, from
memory); thick neo-Hookean tube of fixed length (Rivlin, Phil. Trans. A 242, 173, 1949, from memory), by
``exact/tube.py``; free dielectric film e² = λ⁻² - λ⁻⁸ (Zhao & Suo, Appl. Phys. Lett. 91, 061921, 2007, from
memory), by ``exact/dielectric.py``.
"""

import numpy as np
import pytest
from dielectric_cases import EPS, MU, disc, sheet, strong, volts
from exact import dielectric, tube
from models import CLOSED, SLIDING, cylinder_body, neo_hookean, run, tube_body, tube_model, value
from scipy.optimize import brentq

from annelid.geometry.errors import InvalidValue
from annelid.solver.model.boundary import Electrode, Support
from annelid.solver.model.material import Material
from annelid.solver.model.model import Model
from annelid.solver.model.natural_stretch import NaturalStretch
from annelid.solver.model.parts import Part
from annelid.solver.model.stage_ends import EndCondition
from annelid.solver.model.stages import Stage
from annelid.solver.model.stepping import Stepping

AREA = np.pi  # of the bar, mm²
STOP = Stepping()


def at_least(quantity, limit, **more):
    return EndCondition(quantity, "at least", limit, **more)


def at_most(quantity, limit, **more):
    return EndCondition(quantity, "at most", limit, **more)


def bar():
    supports = (Support("end_low", "axial"), Support("end_high", "plate"))
    return Model(cylinder_body(1.0, 1.0, (1, 1)), (Part("core", neo_hookean()),), supports)


def pull(*until, force=6.0, steps=5):
    return Stage("pull", forces={"end_high": force}, steps=steps, until=until)


def force_at(stretch):
    return AREA * (stretch - stretch**-2)


@pytest.mark.exact
@pytest.mark.parametrize("tolerance", [1e-2, 1e-4, 1e-7])
def test_bar_is_pulled_until_a_stretch(tolerance):
    """The state found meets the condition, and is within the tolerance of its limit."""
    limit = at_least("largest stretch", 1.5, tolerance=tolerance)
    outcome, states = run(bar(), [pull(limit)])
    end = states[-1]
    assert outcome.kind == "reached"
    assert 1.5 <= value(end, "largest stretch") <= 1.5 * (1 + tolerance)
    slope = 1 + 2 / 1.5**3  # of force over stretch
    expected = force_at(1.5)
    assert expected <= end.loads["axial force end_high"].value <= expected + 1.6 * AREA * slope * tolerance
    assert (end.stage, end.parameter) == ("pull", 1.0)
    assert [s.parameter for s in states[:-1]] == pytest.approx([0.0, 0.2, 0.4])
    assert outcome.remarks[0].endswith("largest stretch at least 1.5 reached")


@pytest.mark.exact
def test_limit_on_a_stress_is_kept():
    """A stress is the worse the larger it is, so the end is the last state that keeps the limit."""
    stress = 2.0  # MPa
    _, states = run(bar(), [pull(at_least("peak stress", stress))])
    stretch = brentq(lambda λ: λ**2 - 1 / λ - stress, 1, 3)
    assert stress * (1 - 1e-3) <= value(states[-1], "peak stress") <= stress
    assert states[-1].loads["axial force end_high"].value == pytest.approx(force_at(stretch), rel=1e-3)
    assert all(value(s, "peak stress") <= stress for s in states)


def test_next_stage_goes_on_from_the_state_found():
    back = Stage("back", forces={"end_high": 0.0}, steps=2)
    outcome, states = run(bar(), [pull(at_least("largest stretch", 1.5)), back])
    found = next(s for s in states if s.stage == "pull" and s.parameter == 1.0)
    half = next(s for s in states if s.stage == "back")
    name = "axial force end_high"
    assert half.loads[name].value == pytest.approx(found.loads[name].value / 2)
    assert value(states[-1], "largest stretch") == pytest.approx(1.0, abs=1e-6)
    assert outcome.text == "reached: all 2 stages, at no load"


def test_condition_already_met_ends_the_stage_at_once():
    second = Stage("further", forces={"end_high": 6.0}, until=(at_least("largest stretch", 1.2),))
    outcome, states = run(bar(), [pull(force=force_at(1.3)), second])
    assert [s.parameter for s in states if s.stage == "further"] == [1.0]
    assert states[-1].loads["axial force end_high"].value == pytest.approx(force_at(1.3))
    assert value(states[-1], "largest stretch") == pytest.approx(1.3, rel=1e-6)
    assert "stage 'further' ended at" in outcome.remarks[-1]
    assert outcome.remarks[-1].endswith("already at its start")


def test_condition_never_met_is_reported_at_the_full_loads():
    outcome, states = run(bar(), [pull(at_least("largest stretch", 9.0))])
    assert outcome.kind == "reached"
    assert states[-1].loads["axial force end_high"].value == 6.0
    assert len(states) == 6
    (remark,) = outcome.remarks
    assert remark.startswith("stage 'pull': not met up to axial force end_high 6")
    assert f"largest stretch at least 9 (it is {value(states[-1], 'largest stretch'):.3g}" in remark


@pytest.mark.exact
@pytest.mark.parametrize(("stress", "first"), [(1.0, "peak stress"), (3.0, "largest stretch")])
def test_whichever_of_two_conditions_is_first(stress, first):
    until = (at_least("peak stress", stress), at_least("largest stretch", 1.5))
    outcome, states = run(bar(), [pull(*until, steps=1)])
    stretch = min(1.5, brentq(lambda λ: λ**2 - 1 / λ - stress, 1, 3))
    assert value(states[-1], "largest stretch") == pytest.approx(stretch, rel=1e-3)
    assert f": {first} at least" in outcome.remarks[-1]


def test_limit_of_zero_is_located_relative_to_the_change():
    """A bar pulled out and pushed back to its drawn length."""
    push = Stage("push", forces={"end_high": -1.0}, steps=4, until=(at_least("axial shortening", 0.0),))
    _, states = run(bar(), [pull(force=1.0, steps=1), push])
    assert 0 <= value(states[-1], "axial shortening") < 1e-4
    assert states[-1].loads["axial force end_high"].value == pytest.approx(0.0, abs=1e-3)


@pytest.mark.exact
@pytest.mark.parametrize("control", ["load", "volume", "arc"])
def test_tube_is_inflated_until_an_expansion(control):
    until = (at_least("radial expansion mid", 0.2),)
    stage = {
        "load": Stage("fill", pressure=0.3, steps=3, until=until),
        "volume": Stage("fill", volume=np.pi * 1.5**2, control="volume", steps=3, until=until),
        "arc": Stage("fill", pressure=0.3, arc=2.0, control="arc", steps=20, until=until),
    }[control]
    model = tube_model(tube_body(1.5, through=6), neo_hookean(), SLIDING)
    outcome, states = run(model, [stage])
    end = states[-1]
    assert outcome.kind == "reached"
    assert 0.2 <= value(end, "radial expansion mid") <= 0.2 * (1 + 1e-3)
    assert end.loads["pressure"].value == pytest.approx(
        tube.neo_hookean_pressure(1.0, 1.0, 1.5, 1.2, 1.0), rel=2e-3
    )
    assert end.parameter == 1.0
    assert [s.index for s in states] == list(range(len(states)))


def film(breakdown):
    part = sheet("film", 0.05, material=strong(field=breakdown))
    return Model(disc(0.05), (part,), (Support("end_low", "axial"),), electrodes=(Electrode("film"),))


@pytest.mark.exact
@pytest.mark.parametrize("steps", [1, 4])
def test_voltage_until_a_breakdown_margin(steps):
    """True field e λ² at the stretch where it is the strength over the margin."""
    strength, margin = 100.0, 1.5
    true = strength / margin * np.sqrt(EPS / MU)
    stretch = brentq(lambda λ: dielectric.film_field(λ) * λ**2 - true, 1.0001, 1.2599)
    volt = volts(dielectric.film_field(stretch), 0.05)
    stage = Stage("on", voltages={"film": 6.0}, steps=steps, until=(at_most("breakdown margin", margin),))
    outcome, states = run(film(strength), [stage], stepping=STOP)
    end = states[-1]
    assert outcome.kind == "reached", outcome.text
    assert margin <= value(end, "breakdown margin") <= margin * (1 + 1e-3)
    assert end.loads["voltage film"].value == pytest.approx(volt, rel=2e-3)
    assert not any("breakdown field is exceeded" in remark for remark in outcome.remarks)


def test_no_trace_of_the_states_tried():
    """Where a rim moves along the axis the displaced volume depends on the way, which ends at the limit."""
    supports = (Support("end_low", "axial"), Support("end_high", "free"))
    model = tube_model(tube_body(1.5, through=2), neo_hookean(), supports)
    until = (at_least("radial expansion mid", 0.1),)
    _, found = run(model, [Stage("fill", pressure=0.12, steps=1, until=until)])
    pressures = [s.loads["pressure"].value for s in found[1:]]
    _, given = run(model, [Stage(f"to {p}", pressure=p, steps=1) for p in pressures])
    given = [s for s in given if s.parameter == 1.0]
    assert found[-1].loads["pressure"].value < 0.1
    for one, other in zip(found[1:], given, strict=True):
        assert value(one, "displaced volume") == pytest.approx(value(other, "displaced volume"), rel=1e-8)


def test_instability_ends_the_path_before_a_condition_beyond_it():
    """The margin 1.01 of this strength belongs to a field that no stable film has."""
    stage = Stage("on", voltages={"film": 6.0}, steps=4, until=(at_most("breakdown margin", 1.01),))
    outcome, _ = run(film(200.0), [stage], stepping=STOP)
    assert outcome.kind == "limit point"
    assert not any("breakdown margin" in remark for remark in outcome.remarks)


@pytest.mark.exact
def test_condition_is_found_just_short_of_pull_in():
    """At 99.9 % of the voltage of pull-in, between the last state on the way and the limit point."""
    stretch = brentq(lambda λ: dielectric.film_field(λ) / 0.687364818 - 0.999, 1.1, 1.2599)
    until = (at_least("mean radial expansion", stretch - 1),)
    stage = Stage("on", voltages={"film": 6.0}, steps=1, until=until)
    outcome, states = run(film(1e3), [stage], stepping=STOP)
    assert outcome.kind == "reached", outcome.text
    assert states[-1].unstable_modes == 0
    assert states[-1].loads["voltage film"].value == pytest.approx(
        volts(dielectric.film_field(stretch), 0.05), rel=1e-4
    )


def test_condition_passed_in_a_jump_ends_the_stage_there():
    """A closed Gent tube snaps at its pressure maximum to a much larger size."""
    material = Material("rubber", "gent", {"shear_modulus": 1.0, "stretch_limit": 40.0})
    stage = Stage("fill", pressure=0.08, steps=4, until=(at_least("radial expansion mid", 1.5),))
    model = tube_model(tube_body(1.1), material, CLOSED)
    outcome, states = run(model, [stage], stepping=Stepping(beyond_instability="jump"))
    assert outcome.kind == "reached"
    assert (states[-1].reached_by, states[-1].parameter) == ("jump", 1.0)
    assert value(states[-1], "radial expansion mid") > 3
    assert outcome.remarks[-1].endswith("passed in the jump")


def test_condition_is_found_along_a_branch():
    """A thin tube under outside pressure becomes oval; the limit is reached on the buckled branch."""
    t = 0.05
    body = tube_body(
        (1 + t / 2) / (1 - t / 2),
        0.2,
        A=1 - t / 2,
        along=0.2,
        model="sector",
        through=1,
        around=48,
        sector=90.0,
    )
    model = Model(body, (Part("wall", neo_hookean()),), SLIDING)
    until = (at_least("largest radial contraction", 0.1),)
    stage = Stage("suck", pressure=-1.4 * t**3, steps=6, until=until)
    outcome, states = run(model, [stage], stepping=Stepping(beyond_instability="branch"))
    assert outcome.kind == "reached"
    assert [s.reached_by for s in states].count("branch") == 1
    assert 0.1 <= value(states[-1], "largest radial contraction") <= 0.1 * (1 + 1e-3)
    assert states[-1].parameter == 1.0
    assert 1.0 < -states[-1].loads["pressure"].value / t**3 < 1.05  # the branch is nearly flat at first


@pytest.mark.parametrize(
    ("make", "message"),
    [
        (lambda: at_least("stability margin voltage", 2.0), "searched at the end of a run only"),
        (lambda: at_least("unstable modes", 1), "path.beyond_instability decides"),
        (lambda: at_least("swiftness", 1), "quantity: 'swiftness' is not a quantity"),
        (lambda: at_least("largest stretch", float("inf")), "at_least: must be finite"),
        (lambda: at_least("largest stretch", 2.0, tolerance=0.5), "until_tolerance: must be"),
        (lambda: EndCondition("largest stretch", "above", 2.0), "sense: 'above'"),
    ],
)
def test_conditions_that_no_stage_can_end_at(make, message):
    with pytest.raises(InvalidValue, match=message):
        make()


def test_quantity_that_the_model_does_not_report():
    with pytest.raises(InvalidValue, match=r"stage 'pull': until.quantity: 'breakdown margin' is not"):
        run(bar(), [pull(at_most("breakdown margin", 2.0))])


def test_stage_that_applies_the_natural_stretch_must_be_complete():
    part = Part("core", neo_hookean(), natural_stretch=NaturalStretch(axial=0.9))
    supports = (Support("end_low", "axial"), Support("end_high", "plate"))
    model = Model(cylinder_body(1.0, 1.0, (1, 1)), (part,), supports)
    until = at_least("largest stretch", 1.5)
    with pytest.raises(InvalidValue, match=r"stage 'pull': until: the first stage also applies the natural"):
        run(model, [pull(until)])
    _, states = run(model, [Stage("settle"), pull(until)])
    assert value(states[-1], "largest stretch") == pytest.approx(1.5, rel=1e-3)
