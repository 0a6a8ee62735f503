# SPDX-License-Identifier: MIT
"""A part whose lumen is an element of a circuit."""

import numpy as np
import pytest
from models import SLIDING, last_of, neo_hookean, reached, run, tube_body, tube_model, value
from scipy.integrate import quad, solve_ivp
from scipy.optimize import brentq

from annelid.solver.continuation.flow_continuation import FlowContinuation
from annelid.solver.fluid.circuit import Circuit
from annelid.solver.fluid.conductors import Inertance, Resistance
from annelid.solver.fluid.flow import Flow
from annelid.solver.fluid.sources import PressureSource
from annelid.solver.fluid.stores import Compliance, LumenStore
from annelid.solver.model.stage_ends import EndCondition
from annelid.solver.model.stages import Stage
from annelid.solver.model.stepping import Stepping

A, LENGTH, B_OVER_A, MU = 4.0, 2.0, 1.25, 0.2
REST = Stage("rest", pressure=0.0, steps=1)


def tube(*elements, initial=()):
    return tube_model(
        tube_body(B_OVER_A, LENGTH, A=A, along=1.0, through=3),
        neo_hookean(MU),
        SLIDING,
        flow=Flow(Circuit((LumenStore("part", "lumen"), *elements)), initial=dict(initial)),
    )


def pressure(volume):
    """Exact: P = ∫ μ (λ² - λ⁻²) dr/r with λ = r/R, of an incompressible tube between fixed planes."""
    a = np.sqrt(volume / (np.pi * LENGTH))
    b = np.sqrt(a**2 + A**2 * (B_OVER_A**2 - 1))

    def integrand(r):
        stretch = r**2 / (r**2 - a**2 + A**2)
        return MU * (stretch - 1 / stretch) / r

    return quad(integrand, a, b)[0]


DRAWN = np.pi * A**2 * LENGTH


@pytest.mark.exact
def test_a_tube_fills_through_a_resistance():
    # dV/dt = (p - P(V))/R with the exact P(V), integrated by another program.
    p, R, T = 0.01, 1e-4, 1.0
    model = tube(PressureSource("tank", "tank", p), Resistance("line", "tank", "lumen", R))
    states = reached(model, [REST, Stage("fill", control="flow", duration=T, steps=80)])[1:]
    times = [value(s, "time") for s in states]
    exact = solve_ivp(lambda t, V: (p - pressure(V[0])) / R, (0, T), [DRAWN], rtol=1e-9, dense_output=True)
    expected = exact.sol(times)[0]
    assert expected[-1] > 1.15 * DRAWN
    assert [value(s, "lumen volume") for s in states] == pytest.approx(expected, rel=2e-4)
    found = [value(s, "lumen pressure") for s in states]
    assert found == pytest.approx([pressure(V) for V in expected], rel=2e-3, abs=1e-5)
    assert [value(s, "flow through line") for s in states[2:]] == pytest.approx(
        [(p - pressure(V)) / R for V in expected[2:]], rel=5e-3, abs=1.0
    )
    # The wall has taken the work -∫ P dV as strain energy; the line has lost the rest of p ΔV.
    last = states[-1]
    strain = value(last, "strain energy")
    assert -value(last, "work on the fluid") == pytest.approx(strain, rel=1e-3)
    lost = p * (value(last, "lumen volume") - DRAWN) - strain
    assert value(last, "loss in the circuit") == pytest.approx(lost, rel=2e-3)


@pytest.mark.exact
def test_a_closed_circuit_keeps_its_volume():
    # An inertance makes the volume swing between the lumen and a compliance; a resistance damps it.
    C, p0 = 800.0, 0.01
    model = tube(
        Compliance("bag", "bag", C),
        Resistance("line", "bag", "middle", 1e-5),
        Inertance("column", "middle", "lumen", 2e-6),
        initial={"pressure of bag": p0},
    )
    states = reached(model, [REST, Stage("swing", control="flow", duration=1.0, steps=50)])[2:]
    bag = np.array([value(s, "pressure at bag") for s in states])
    lumen = np.array([value(s, "lumen volume") for s in states])
    total = DRAWN + C * p0
    assert C * bag + lumen == pytest.approx(np.full(len(states), total), rel=1e-10)
    assert np.ptp(bag) > 0.2 * p0
    flows = np.array([value(s, "flow through column") for s in states])
    assert flows.min() < 0 < flows.max()
    end = brentq(lambda V: pressure(V) - (total - V) / C, DRAWN, total)
    assert lumen[-1] == pytest.approx(end, rel=1e-2)


@pytest.mark.rate
def test_error_falls_with_the_square_of_the_time_step():
    p, R, T = 0.01, 1e-4, 0.5
    model = tube(PressureSource("tank", "tank", p), Resistance("line", "tank", "lumen", R))
    exact = solve_ivp(lambda t, V: (p - pressure(V[0])) / R, (0, T), [DRAWN], rtol=1e-11, atol=1e-12).y[0, -1]
    errors = []
    for steps in (4, 8, 16):
        states = reached(model, [REST, Stage("fill", control="flow", duration=T, steps=steps)])
        errors.append(abs(value(states[-1], "lumen volume") - exact) / exact)
    orders = np.log2(np.array(errors[:-1]) / errors[1:])
    assert (orders > 1.6).all(), (errors, orders)
    assert errors[-1] < 1e-4


def test_several_stages_continue_the_flow():
    p, R = 0.01, 1e-4
    elements = PressureSource("tank", "tank", p), Resistance("line", "tank", "lumen", R)
    once = reached(tube(*elements), [REST, Stage("fill", control="flow", duration=0.4, steps=8)])
    parts = [Stage(name, control="flow", duration=0.2, steps=4) for name in ("first", "second")]
    twice = reached(tube(*elements), [REST, *parts])
    assert value(twice[-1], "lumen volume") == pytest.approx(value(once[-1], "lumen volume"), rel=1e-10)
    assert value(twice[-1], "loss in the circuit") == pytest.approx(value(once[-1], "loss in the circuit"))
    assert [s.quantities["time"].value for s in twice] == pytest.approx(
        [s.quantities["time"].value for s in once]
    )


@pytest.mark.exact
@pytest.mark.parametrize("limit", ["lumen volume", "volume through line"])
def test_a_tube_fills_until_a_volume_and_the_flow_goes_on(limit):
    # The time at which the exact volume is reached; the next stage continues the flow from there.
    p, R, added = 0.01, 1e-4, 0.1 * DRAWN
    model = tube(PressureSource("tank", "tank", p), Resistance("line", "tank", "lumen", R))
    until = EndCondition(limit, "at least", added + (DRAWN if limit == "lumen volume" else 0), 1e-6)
    fill = Stage("fill", control="flow", duration=0.5, steps=40, until=(until,))
    outcome, states = run(model, [REST, fill, Stage("more", control="flow", duration=0.2, steps=8)])
    time = quad(lambda V: R / (p - pressure(V)), DRAWN, DRAWN + added)[0]
    end = last_of(states, "fill")
    assert end.parameter == 1.0
    assert value(end, "lumen volume") == pytest.approx(DRAWN + added, rel=1e-6)
    assert value(end, "time") == pytest.approx(time, rel=1e-3)
    assert f"{limit} at least" in outcome.remarks[0]
    exact = solve_ivp(lambda t, V: (p - pressure(V[0])) / R, (0, time + 0.2), [DRAWN], rtol=1e-9).y[0, -1]
    assert value(states[-1], "time") == pytest.approx(time + 0.2, rel=1e-3)
    assert value(states[-1], "lumen volume") == pytest.approx(exact, rel=2e-4)
    assert value(states[-1], "volume through line") == pytest.approx(exact - DRAWN, rel=2e-3)


def test_a_flow_stage_whose_limit_is_met_at_its_start_takes_no_time():
    p, R = 0.01, 1e-4
    model = tube(PressureSource("tank", "tank", p), Resistance("line", "tank", "lumen", R))
    met = EndCondition("lumen volume", "at least", 0.5 * DRAWN)
    never = EndCondition("lumen volume", "at least", 50 * DRAWN)
    fill = Stage("fill", control="flow", duration=0.2, steps=4, until=(never,))
    outcome, states = run(model, [REST, Stage("no", control="flow", duration=1.0, until=(met,)), fill])
    alone = reached(model, [REST, Stage("fill", control="flow", duration=0.2, steps=4)])
    assert "already at its start" in outcome.remarks[0]
    assert "not met up to" in outcome.remarks[1]
    assert value(states[-1], "time") == pytest.approx(0.2)
    assert value(states[-1], "lumen volume") == pytest.approx(value(alone[-1], "lumen volume"), rel=1e-10)


@pytest.mark.exact
@pytest.mark.parametrize("beyond", ["stop", "follow"])
def test_a_wall_that_wrinkles_in_a_flow_is_located_in_time(beyond):
    # Classical stress 2 μ t/R of a cylinder under axial load (Timoshenko and Gere, Theory of Elastic
    # Stability, from memory; E = 3 μ, ν = 1/2). Whole waves do not change the volume.
    t, waves = 0.01, 4
    half = np.pi * np.sqrt(t) / 9**0.25
    inner = 1 - t / 2
    line = PressureSource("room", "room", 0.0), Resistance("line", "room", "lumen", 1e-6)
    model = tube_model(
        tube_body(1 + t / inner, waves * half, A=inner, along=half / 6, through=1),
        neo_hookean(1.0),
        SLIDING,
        flow=Flow(Circuit((LumenStore("part", "lumen"), *line))),
    )
    press = {"end_high": -1.2 * 2 * t / 3 * waves * half}
    stages = [REST, Stage("press", control="flow", duration=2.0, steps=7, displacements=press)]
    outcome, states = run(model, stages, stepping=Stepping(beyond_instability=beyond))
    first = next(s for s in states if s.critical)
    assert first.critical == "bifurcation"
    stress = -value(first, "axial reaction end_high") / (2 * np.pi * t)
    assert stress == pytest.approx(2 * t, rel=1e-2)
    assert value(first, "time") == pytest.approx(2.0 / 1.2, rel=1e-2)
    assert all(s.unstable_modes_controlled == 0 for s in states if s.index < first.index)
    if beyond == "stop":
        assert outcome.kind == "lost stability"
        assert "bifurcation at" in outcome.text
        assert states[-1] is first
    else:  # from there on the path may turn onto the buckled states
        assert outcome.kind == "reached"
        assert states[-1].parameter == 1.0
        assert any(remark.startswith("bifurcation at") for remark in outcome.remarks)
    outer = model.body.points[:, 0] > 1
    wave = first.mode[outer][np.argsort(model.body.points[outer, 1]), 0]
    assert (np.diff(np.sign(wave[np.abs(wave) > 1e-3 * np.abs(wave).max()])) != 0).sum() == waves


def test_a_step_far_off_the_path_is_halved(monkeypatch):
    # Newton's method finds the state from a wrong guess, but so far from it the state may be another one.
    p, R, T = 0.01, 1e-4, 0.5
    model = tube(PressureSource("tank", "tank", p), Resistance("line", "tank", "lumen", R))
    stages = [REST, Stage("fill", control="flow", duration=T, steps=8)]
    alone = reached(model, stages)
    extrapolate, seen = FlowContinuation._extrapolate, []

    def astray(continuation, places, s):
        extrapolate(continuation, places, s)
        if places[-1].s == continuation.last.s:  # a guess of the first stage of a step
            return
        seen.append(continuation.last.s)
        if len(seen) == 3:
            continuation.system.x.axpy(3.0, continuation.last.state.x)

    monkeypatch.setattr(FlowContinuation, "_extrapolate", astray)
    states = reached(model, stages)
    assert len(states) == len(alone) + 1
    assert seen[2] == seen[3]
    assert value(states[-1], "lumen volume") == pytest.approx(value(alone[-1], "lumen volume"), rel=1e-3)
