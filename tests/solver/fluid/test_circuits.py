# SPDX-License-Identifier: MIT
"""Windkessels and valves against closed forms, in mmHg, mL and s as these are published.

Typical arterial values R = 1, C = 1.3, Zc = 0.05, L = 0.006 are from memory (order of magnitude). The models:
Westerhof (three elements), Burattini (four, series), Stergiopulos (four, parallel), from memory.
"""

import math
from dataclasses import dataclass

import numpy as np
import pytest
from soft import no_lumen, run, slope_errors

from annelid.geometry.errors import InvalidValue
from annelid.solver.fluid.circuit import Circuit
from annelid.solver.fluid.conductors import Inertance, Resistance, Valve
from annelid.solver.fluid.elements import GROUND
from annelid.solver.fluid.flow_system import LumenState
from annelid.solver.fluid.integrator import integral
from annelid.solver.fluid.sources import FlowSource, PressureSource
from annelid.solver.fluid.stores import Chamber, Compliance, LumenStore
from annelid.solver.fluid.windkessels import windkessel

R, C, ZC, L = 1.0, 1.3, 0.05, 0.006
MODELS = {
    "two": {},
    "three": {"characteristic": ZC},
    "four in series": {"characteristic": ZC, "inertance": L},
    "four in parallel": {"characteristic": ZC, "inertance": L, "arrangement": "parallel"},
}


@dataclass(frozen=True)
class Function:
    """A signal."""

    of: object

    def value(self, t):
        return self.of(t)


def fed(inflow, model):
    source = FlowSource("heart", GROUND, "aorta", inflow)
    return Circuit((source, *windkessel("body", "aorta", R, C, **MODELS[model])), 0, pressure_scale=1.0)


def stages(steps):
    """Each stage of each step with its step length."""
    for i, step in enumerate(steps):
        dt = step.last.time - (steps[i - 1].last.time if i else 0.0)
        yield dt, step


# Responses to a step of inflow of 100 mL/s from rest: own derivation, checked by integrating the equations
# (closed form R Q (1 - e^(-t/RC)), and Zc Q or Zc Q e^(-t Zc/L) added).
STEP = {
    "two": {0.05: 3.773128564, 0.2: 14.25960808, 1.0: 53.66306308},
    "three": {0.05: 8.773128564, 0.2: 19.25960808, 1.0: 58.66306308},
    "four in series": {0.05: 8.773128564, 0.2: 19.25960808, 1.0: 58.66306308},
    "four in parallel": {0.05: 7.069331715, 0.2: 15.2039861, 1.0: 53.66426492},
}


@pytest.mark.exact
@pytest.mark.parametrize("model", MODELS)
def test_step_of_inflow(model):
    circuit = fed(100.0, model)
    times = np.concatenate([np.linspace(0, 0.2, 161), np.linspace(0.2, 1.0, 161)[1:]])
    if model == "four in series":
        # The inertance takes the step as an impulse at t = 0, so it has its flow from the beginning.
        start = np.where(np.array(circuit.units) == "MPa", 0.0, 100.0)
    else:
        start = np.zeros(len(circuit.names))
    found = {
        round(s.last.time, 9): circuit.pressure("aorta", s.last.unknowns) for s in run(circuit, start, times)
    }
    for t, pressure in STEP[model].items():
        assert found[t] == pytest.approx(pressure, rel=1e-4)


# From rest, Q = 100 sin(2π 1.25 t): forced part and one decaying exponential for each state.
SINE = {
    "two": {0.1: 2.794975854, 0.4: 16.83276757, 1.6: -6.867715347},
    "three": {0.1: 6.33050976, 0.4: 16.83276757, 1.6: -6.867715347},
    "four in series": {0.1: 9.662671964, 0.4: 12.12037858, 1.6: -2.155326367},
    "four in parallel": {0.1: 5.138215124, 0.4: 14.24811961, 1.6: -4.372100137},
}


@pytest.mark.exact
@pytest.mark.parametrize("model", MODELS)
def test_sinusoidal_inflow(model):
    circuit = fed(Function(lambda t: 100 * math.sin(2 * math.pi * 1.25 * t)), model)
    steps = run(circuit, np.zeros(len(circuit.names)), np.linspace(0, 1.6, 1601))
    found = {round(s.last.time, 9): circuit.pressure("aorta", s.last.unknowns) for s in steps}
    # Where a source prescribes the flow of an inertance, the method is of first order in this pressure.
    near = {"rel": 2e-3, "abs": 0.02} if model == "four in series" else {"rel": 1e-4}
    for t, pressure in SINE[model].items():
        assert found[t] == pytest.approx(pressure, **near)


@pytest.mark.exact
@pytest.mark.parametrize(
    ("SV", "T", "Ts", "R", "C", "venous", "diastolic", "systolic", "mean", "work"),
    [
        (70, 0.8, 0.3, 1, 1.3, 0, 71.15512092, 105.6488173, 87.5, 6224.13589),
        (60, 1, 0.35, 1.2, 1.5, 5, 64.39312938, 90.93209955, 77, 4680.084736),
    ],
)
def test_half_sine_ejection(SV, T, Ts, R, C, venous, diastolic, systolic, mean, work):
    # Closed form of the periodic state (own derivation, checked by quadrature).
    inflow = Function(lambda t: SV * math.pi / (2 * Ts) * math.sin(math.pi * t / Ts) if t % T < Ts else 0.0)
    inflow = Function(lambda t, q=inflow: q.of(t % T))
    circuit = Circuit(
        (
            FlowSource("heart", GROUND, "aorta", inflow),
            *windkessel("body", "aorta", R, C, outlet="veins"),
            PressureSource("veins", "veins", venous),
        ),
        0,
        pressure_scale=1.0,
    )
    one = np.concatenate([np.linspace(0, Ts, 121)[:-1], np.linspace(Ts, T, 81)[:-1]])
    times = np.concatenate([one + i * T for i in range(8)] + [[8 * T]])
    last = list(stages(run(circuit, np.full(len(circuit.names), diastolic), times)))[-200:]
    pressures = [circuit.pressure("aorta", step.last.unknowns) for _, step in last]
    assert [pressures[-1], max(pressures)] == pytest.approx([diastolic, systolic], rel=1e-4)
    ps = [[circuit.pressure("aorta", s.unknowns) for s in step] for _, step in last]
    qs = [[circuit.flow("heart", s.unknowns, s.time) for s in step] for _, step in last]
    dts = [dt for dt, _ in last]
    assert sum(integral(dt, *p) for dt, p in zip(dts, ps, strict=True)) / T == pytest.approx(mean, rel=1e-4)
    found = sum(integral(dt, p[0] * q[0], p[1] * q[1]) for dt, p, q in zip(dts, ps, qs, strict=True))
    assert found == pytest.approx(work, rel=5e-4)


CHAMBER = LumenStore("chamber", "chamber")


def pump(resistances, Pin=8.0, venous=5.0, R=1.0, C=1.3, chamber=CHAMBER, **valve):
    return Circuit(
        (
            PressureSource("inlet", "inlet", Pin),
            Valve("inlet valve", "inlet", "chamber", resistances[0], **valve),
            chamber,
            Valve("outlet valve", "chamber", "aorta", resistances[1], **valve),
            *windkessel("body", "aorta", R, C, outlet="veins"),
            PressureSource("veins", "veins", venous),
        ),
        pressure_scale=1.0,
    )


@pytest.mark.exact
@pytest.mark.parametrize(
    ("SV", "f", "R", "C", "Pin", "venous", "full", "systolic", "mean_pressure", "ideal"),
    [
        (70, 1.25, 1, 1.3, 8, 5, 79.01769247, 107.5581722, 92.5, 5990.088754),
        (30, 1, 1, 1.3, 5, 0, 24.23641941, 36.46554037, 30, 767.1511272),
        (10, 2, 2, 0.5, 5, 0, 34.98656165, 45.58257459, 40, 353.2473864),
    ],
)
def test_pump_chamber_with_two_valves(SV, f, R, C, Pin, venous, full, systolic, mean_pressure, ideal):
    # Chamber of given volume. Ideal valves with resistance: pressure as in the closed form of half-sine
    # ejection, work = ideal + (Ri + Ro) Qm² T/4 with Qm = π f SV (own derivation, checked by integrating the
    # equations). The pressures of the chamber where it turns are undetermined.
    T, cycles, n = 1 / f, 9, 200

    def lumen(t):
        V = 120 - SV * (1 - math.cos(2 * math.pi * f * t)) / 2
        return LumenState(np.array([V]), np.ones(1), np.ones(1))

    circuit = pump((0.005, 0.01), Pin, venous, R, C, smoothing=0.005, leak=1e-6)
    start = np.full(len(circuit.names), full) * (np.array(circuit.units) == "MPa")
    steps = run(circuit, start, np.linspace(0, cycles * T, cycles * n + 1), lumen)
    cycle, dt = steps[-n:], T / n

    def mean(of):
        return sum(integral(dt, *(of(s) for s in step)) for step in cycle)

    def p(s, node):
        return circuit.pressure(node, s.unknowns)

    def rate(s):
        return -SV * math.pi * f * math.sin(2 * math.pi * f * s.time)

    assert mean(lambda s: p(s, "aorta")) / T == pytest.approx(mean_pressure, rel=1e-3)
    aorta = [p(step.last, "aorta") for step in cycle]
    assert [aorta[-1], max(aorta)] == pytest.approx([full, systolic], rel=1e-3)
    work = -mean(lambda s: p(s, "chamber") * rate(s))
    assert work == pytest.approx(ideal + 0.015 * (math.pi * f * SV) ** 2 * T / 4, rel=1e-3)
    out = mean(lambda s: circuit.flow("outlet valve", s.unknowns, s.time))
    assert out == pytest.approx(SV, rel=1e-3)
    # Volume: what the reservoirs gave is in the aorta and the chamber.
    gain = sum(
        mean(lambda s, name=name: circuit.flow(name, s.unknowns, s.time)) for name in ("inlet", "veins")
    )
    before, after = steps[-n - 1].last, steps[-1].last
    stored = sum(
        circuit.stored(s.unknowns, lumen(s.time).volumes, s.time).value[: len(circuit.nodes)].sum() * sign
        for s, sign in ((after, 1), (before, -1))
    )
    assert gain == pytest.approx(stored, abs=1e-8 * SV)
    # Energy: work of the chamber and of both reservoirs is stored in the aorta or lost.
    sources = mean(lambda s: Pin * circuit.flow("inlet", s.unknowns, s.time))
    sources += mean(lambda s: venous * circuit.flow("veins", s.unknowns, s.time))
    elastic = C * (p(after, "aorta") ** 2 - p(before, "aorta") ** 2) / 2
    lost = mean(lambda s: circuit.dissipation(s.unknowns, s.time))
    assert work + sources == pytest.approx(elastic + lost, rel=1e-3)


@pytest.mark.exact
@pytest.mark.parametrize(
    ("E", "stroke", "mean", "smallest"),
    [(1.5, 53.64130675, 72.05163344, 31.69202658), (3, 35.29279827, 49.11599784, 47.3738684)],
)
def test_elastic_chamber_driven_from_outside(E, stroke, mean, smallest):
    # P = E (V - 80) + 150 in the first 0.4 of the period; diodes, linear between events (own derivation).
    T, n, cycles = 0.8, 100, 9
    act = Function(lambda t: 150.0 if (t / T) % 1 < 0.4 else 0.0)
    circuit = pump((0.01, 0.02), chamber=Chamber("chamber", "chamber", E, 80.0, act), smoothing=0.01)
    beats = np.concatenate([np.linspace(0, 0.4, n + 1)[:-1], np.linspace(0.4, 1, n + 1)[:-1]]) * T
    times = np.concatenate([beats + i * T for i in range(cycles)])
    # The jump of the drive falls into one step.
    times = np.sort(np.concatenate([times, times[::n] + 1e-9 * T]))
    start = np.full(len(circuit.names), 50.0) * (np.array(circuit.units) == "MPa")
    steps = run(circuit, start, times)
    cycle = list(stages(steps))[-2 * (n + 1) :]
    i = circuit.nodes.index("chamber")
    volumes = [step.last.stored[i] for _, step in cycle]
    assert max(volumes) - min(volumes) == pytest.approx(stroke, rel=2e-3)
    assert min(volumes) == pytest.approx(smallest, rel=2e-3)
    area = sum(integral(dt, *(circuit.pressure("aorta", s.unknowns) for s in step)) for dt, step in cycle)
    assert area / T == pytest.approx(mean, rel=2e-3)


@pytest.mark.exact
def test_a_compliance_squeezed_from_outside():
    # C d(p - P sin ωt)/dt = -p/R: the amplitude of p is P ωRC/√(1 + (ωRC)²).
    ω = 2 * math.pi
    squeezed = Compliance("bag", "a", 0.2, Function(lambda t: 10 * math.sin(ω * t)))
    circuit = Circuit((squeezed, Resistance("out", "a", GROUND, 0.5)), 0, pressure_scale=1.0)
    steps = run(circuit, [0.0], np.linspace(0, 2, 401))
    highest = max(step.last.unknowns[0] for step in steps[-200:])
    assert highest == pytest.approx(10 * ω * 0.1 / math.hypot(1, ω * 0.1), rel=1e-3)


def test_a_source_moves_volume_from_one_node_to_another():
    circuit = Circuit(
        (Compliance("a", "a", 2.0), Compliance("b", "b", 3.0), FlowSource("pump", "a", "b", 1.5)), 0
    )
    assert run(circuit, [0.0, 0.0], [0.0, 1.0])[-1].last.stored == pytest.approx([-1.5, 1.5])


def test_a_valve_never_passes_fluid_uphill_and_its_flow_rises_with_the_difference():
    valve = Valve("v", "a", "b", 0.01, opening=0.5, smoothing=0.1, leak=1e-4)
    differences = np.linspace(-3, 3, 2001)
    flows, slopes = np.array([valve.law(d) for d in differences]).T
    assert (flows * differences >= 0).all()
    assert (slopes > 0).all()
    moved = [(valve.law(d + 1e-7)[0] - valve.law(d - 1e-7)[0]) / 2e-7 for d in differences]
    assert slopes == pytest.approx(moved, rel=1e-6, abs=2e-4)
    assert valve.law(-2.0)[0] == pytest.approx(-2.0 * 1e-4 / 0.01)
    assert valve.law(0.4)[0] == pytest.approx(0.4 * 1e-4 / 0.01)
    assert valve.law(3.0)[0] == pytest.approx((3 * 1e-4 + (1 - 1e-4) * (2.5 - 0.05)) / 0.01)


def test_derivatives_of_a_circuit_with_every_element():
    elements = (
        PressureSource("inlet", "a", Function(math.cos)),
        Inertance("column", "a", "b", 0.3),
        Valve("in", "b", "c", 0.2, smoothing=0.4, leak=0.1),
        LumenStore("part", "c"),
        Chamber("bladder", "c", Function(lambda t: 1 + t), 2.0, Function(math.sin)),
        FlowSource("drip", GROUND, "c", 0.2),
        *windkessel("body", "c", 1.0, 2.0, characteristic=0.1, inertance=0.05, arrangement="parallel"),
    )
    circuit = Circuit(elements, 3)
    y = np.random.default_rng(1).uniform(0.5, 1.5, len(circuit.names))
    assert slope_errors(circuit, y, LumenState(np.array([1.0, 2.0, 3.0]), np.ones(3), np.ones(3)), 0.7) < 1e-7
    assert (circuit.pressures @ y == circuit.pressure("c", y)).all()
    names = [element.name for element in elements]
    assert len(set(circuit.names)) == len(circuit.names) == len(circuit.scales)
    flows = {name: circuit.flow(name, y, 0.7) for name in names}
    assert flows["drip"] == 0.2
    assert circuit.dissipation(y, 0.7) > 0


FLOATS = (FlowSource("s", GROUND, "a", 1.0), Resistance("r", "a", "b", 1.0))


@pytest.mark.parametrize(
    ("make", "key", "text"),
    [
        (
            lambda: Resistance("r", "a", "b", 0.0),
            "resistance",
            "resistance 'r': resistance: must be above 0 MPa s/mm3, got 0",
        ),
        (lambda: Valve("v", "a", "b", -1.0), "resistance", "valve 'v'.* got -1"),
        (lambda: Valve("v", "a", "b", 1.0, leak=0.0), "leak", "valve 'v': leak: must be above 0 and below 1"),
        (lambda: Inertance("l", "a", "b", math.nan), "inertance", "inertance 'l'"),
        (lambda: Compliance("c", "a", -2.0), "compliance", "compliance 'c'.*got -2"),
        (lambda: Compliance("c", GROUND, 2.0), "node", "is ground"),
        (lambda: Chamber("h", "a", 0.0), "elastance", "chamber 'h'"),
        (lambda: PressureSource("p", "a", math.inf), "pressure", "must be finite"),
        (lambda: Resistance("r", "a", "a", 1.0), "end", "connect different nodes"),
        (
            lambda: windkessel("w", "a", 1.0, 1.0, inertance=1.0),
            "inertance",
            "windkessel 'w'.*'characteristic'",
        ),
        (lambda: windkessel("w", "a", 1.0, -1.0), "compliance", "windkessel 'w': compliance 'w compliance'"),
        (
            lambda: Circuit((LumenStore("x", "a"),), pressure_scale=0.0),
            "pressure_scale",
            "must be above 0 MPa",
        ),
        (lambda: Circuit(FLOATS), "elements", "the circuit floats"),
        (lambda: Circuit((*FLOATS, Compliance("c", "d", 1.0))), "elements", "nodes a, b have no path"),
        (lambda: Circuit((Compliance("c", "a", 1.0), Compliance("c", "b", 1.0))), "name", "'c' names two"),
        (lambda: Circuit((LumenStore("x", "a"), LumenStore("y", "b"))), "node", "has a lumen already"),
        (
            lambda: Circuit((PressureSource("x", "a", 1.0), PressureSource("y", "a", 2.0))),
            "node",
            "'y': node: is 'a'",
        ),
        (lambda: Circuit((LumenStore("x", "a"), Valve("v", "a", "b", 1.0))), "end", "valve 'v': end: is 'b'"),
        (
            lambda: Circuit((LumenStore("x", "a"), Valve("v", "b", "a", 1.0), Valve("w", "b", GROUND, 1.0))),
            "start",
            "valve 'v': start: is 'b', from which nothing comes",
        ),
        (lambda: Circuit((LumenStore("x", "aorta"),), openings=("aort",)), "", "did you mean 'aorta'"),
    ],
)
def test_bad_elements_and_circuits_are_refused(make, key, text):
    with pytest.raises(InvalidValue, match=text) as info:
        make()
    assert info.value.key == key


def test_an_elastance_that_becomes_negative_is_refused_by_name():
    circuit = Circuit((Chamber("heart", "a", Function(lambda t: 1 - t)),), 0)
    with pytest.raises(InvalidValue, match=r"chamber 'heart': elastance: must be above 0 .*at 2 s"):
        run(circuit, [1.0], [0.0, 0.5, 2.0], no_lumen)
