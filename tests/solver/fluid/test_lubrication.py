# SPDX-License-Identifier: MIT
"""The fluid, the residual gap, a lumen between circuits, and what is refused."""

import math

import numpy as np
import pytest
from soft import run, slope_errors
from walls_in_time import moving

from annelid.geometry.errors import InvalidValue
from annelid.solver.fluid.circuit import Circuit
from annelid.solver.fluid.conductors import Valve
from annelid.solver.fluid.elements import GROUND
from annelid.solver.fluid.flow_system import LumenState
from annelid.solver.fluid.fluid import Fluid
from annelid.solver.fluid.integrator import integral
from annelid.solver.fluid.lubrication import Closed, Lubrication, OpenTo, Reservoir
from annelid.solver.fluid.sources import PressureSource
from annelid.solver.fluid.stores import Compliance, LumenStore
from annelid.solver.fluid.validity import reynolds_number, validity, wall_slopes, womersley_number
from annelid.solver.fluid.windkessels import windkessel

WATER = Fluid(1e-9)
BLOOD = Fluid(4e-9, density=1.06e-9)


def lumen_of(radii, length):
    r = np.array(radii)
    return LumenState(np.pi * r**2 * length, r, np.full(len(r), length))


@pytest.mark.exact
@pytest.mark.parametrize("n", [0.4, 0.7, 1.0, 1.6])
def test_flow_of_a_power_law_fluid_is_that_of_its_profile(n):
    # Shear stress ρ G/2 and rate of shear (ρ G/(2 K))^(1/n) at the radius ρ, and q = ∫ π ρ² (rate) dρ.
    K, r, G = 2e-6, 3.0, 4e-5
    points, weights = np.polynomial.legendre.leggauss(60)
    ρ = r * (1 + points) / 2
    exact = weights @ (np.pi * ρ**2 * (ρ * G / (2 * K)) ** (1 / n)) * r / 2
    flow = Fluid(K, n, slowest=1e-5).flow(np.array([r, r]), np.array([G, -G]))[0]
    assert flow == pytest.approx([exact, -exact], rel=1e-6)


@pytest.mark.parametrize("n", [0.4, 1.0, 1.6])
def test_a_power_law_fluid_has_a_finite_conductance_at_rest(n):
    fluid = Fluid(2e-6, n)
    q, by_gradient, _ = fluid.flow(np.array([3.0]), np.array([0.0]))
    assert q == 0
    assert 0 < by_gradient[0] < np.inf
    # Newtonian there, with the viscosity at the slowest rate of shear.
    slow = Fluid(2e-6 * 1e-3 ** (n - 1)).flow(np.array([3.0]), np.array([0.0]))[1]
    assert by_gradient[0] == pytest.approx(slow[0] * 4 * n / (3 * n + 1))


def test_blood_in_a_short_wide_tube_is_no_lubrication_flow():
    # R 4 mm, 50 mm, 60 mmHg, 4 mPa s: 4021 mL/s if rigid; 6418 mL/s if soft, at a Reynolds number of 2.71e5
    # (own calculation; a free jet would give 195 mL/s).
    q = BLOOD.flow(np.array([4.0]), np.array([60 * 133.322e-6 / 50]))[0][0]
    assert q == pytest.approx(16083.587 * 250, rel=1e-3)
    assert reynolds_number(BLOOD, 6418e3, 4.0) == pytest.approx(2.71e5, rel=2e-3)


def test_numbers_of_validity():
    # α = r √(ω ρ/η), for blood in a tube of 4 mm at 80 beats a minute.
    expected = 4e-3 * math.sqrt(2 * math.pi / 0.75 * 1060 / 4e-3)
    assert womersley_number(BLOOD, 0.75, 4.0) == pytest.approx(expected)
    # Another way to it: the friction factor of laminar flow is 16/Re (Metzner and Reed, from memory).
    for n in (0.5, 1.0, 1.5):
        fluid, r, G = Fluid(2e-6, n), 3.0, 4e-5
        v = fluid.flow(np.array([r]), np.array([G]))[0][0] / (math.pi * r**2)
        friction = r * G / 2 / (fluid.density * v**2 / 2)
        assert reynolds_number(fluid, v * math.pi * r**2, r) == pytest.approx(16 / friction, rel=1e-6)
    assert wall_slopes(np.array([1.0, 1.2, 0.9]), np.array([1.0, 1.0, 2.0])) == pytest.approx([0.2, 0.2])


def test_warnings_where_the_theory_does_not_hold():
    def numbers(fluid, pressure, radii=(4.0, 4.0)):
        system = Lubrication(2, fluid, Reservoir(pressure), Reservoir(0.0), 0.1)
        return validity(system, pressure * np.array([0.75, 0.25]), lumen_of(radii, 25.0), 0.0, period=2.0)

    assert numbers(Fluid(1e-6), 1e-4).warnings() == []
    pump = numbers(BLOOD, 60 * 133.322e-6)
    assert pump.reynolds == pytest.approx(2.71e5 * 4021 / 6418, rel=2e-3)
    assert ["turbulent" in text for text in pump.warnings()] == [True, False]
    assert "the Womersley number is 3.65 (allowed 1)" in pump.warnings()[1]
    steep = numbers(Fluid(1e-6), 1e-4, (4.0, 14.0))
    assert steep.slope == pytest.approx(0.4)
    assert steep.reduced_reynolds <= steep.reynolds * 0.4
    assert ["wall slope is 0.4" in text for text in steep.warnings()] == [True]


BETWEEN = Circuit(
    (
        PressureSource("tank", "tank", 2e-4),
        Valve("in", "tank", "inlet", 1e-9, smoothing=1e-6),
        Compliance("inlet", "inlet", 1e4),
        Valve("out", "outlet", "aorta", 1e-9, smoothing=1e-6),
        Compliance("outlet", "outlet", 1e4),
        *windkessel("body", "aorta", 1e-7, 1e7),
    ),
    0,
    ("inlet", "outlet"),
)


def between(n):
    return Lubrication(n, Fluid(1e-6), OpenTo("inlet"), OpenTo("outlet"), 0.05, circuit=BETWEEN)


def test_a_lumen_between_valves_keeps_its_volume_and_pumps():
    # All volume, in the lumen, the compliances and what the tank and the body exchanged, is kept.
    n, T, each = 30, 2.0, 60
    system = between(n)
    wall = moving(lambda z, t: 4 - 1.5 * np.sin(np.pi * t / T) ** 2 * np.sin(np.pi * z / 80) ** 2, 80.0, n)
    steps = run(system, np.zeros(len(system.names)), np.linspace(0, T, each + 1), wall)

    def total(name):
        flows = [[BETWEEN.flow(name, s.unknowns[n:], s.time) for s in step] for step in steps]
        return sum(integral(T / each, *pair) for pair in flows)

    volume = len(BETWEEN.nodes) + n
    start = system.stored(np.zeros(len(system.names)), wall(0.0).volumes, 0.0).value[:volume].sum()
    end = steps[-1].last.stored[:volume].sum()
    moved = total("tank") - total("body peripheral")
    assert abs(total("out")) > 100
    assert end - start == pytest.approx(moved, abs=1e-8 * start)
    through = [BETWEEN.flow("out", s.last.unknowns[n:], s.last.time) for s in steps]
    assert -0.01 * max(through) < min(through) < 0.01 * max(through)
    # The wall's power leaves the lumen through its ends or is lost by viscosity.
    s = steps[each // 3].first
    q = system.flows(s.unknowns, wall(s.time), s.time)
    wall_power = s.unknowns[:n] @ np.diff(q)
    ends = (
        BETWEEN.pressure("outlet", s.unknowns[n:]) * q[-1] - BETWEEN.pressure("inlet", s.unknowns[n:]) * q[0]
    )
    lost = system.dissipation(s.unknowns, wall(s.time), s.time)
    assert lost > 0
    assert wall_power == pytest.approx(ends + lost, rel=1e-9)


@pytest.mark.parametrize("index", [0.6, 1.0])
def test_derivatives_of_a_lumen_in_a_circuit(index):
    system = Lubrication(3, Fluid(1e-6, index), Reservoir(2e-3), OpenTo("outlet"), 0.5, circuit=BETWEEN)
    rng = np.random.default_rng(3)
    lumen = LumenState(np.array([1.0, 2.0, 3.0]), np.array([0.6, 0.2, 1.4]), np.array([3.0, 2.0, 4.0]))
    y = rng.uniform(1e-3, 3e-3, len(system.names))
    assert slope_errors(system, y, lumen, 0.3) < 1e-6
    assert (system.pressures @ y == y[:3]).all()
    assert len(system.names) == len(system.units) == len(system.scales) == len(y)


def test_the_residual_gap_bounds_the_conductance():
    def flow(r):
        system = Lubrication(1, Fluid(1e-6), Reservoir(1e-3), Reservoir(0.0), 0.1)
        return system.flows(np.array([5e-4]), lumen_of([r], 1.0), 0.0)[0]

    def poiseuille(r):
        return math.pi * r**4 / 8e-6 * 5e-4 / 0.5

    assert flow(0.0) == pytest.approx(poiseuille(0.1))
    assert flow(0.15) == pytest.approx(poiseuille(0.15))
    assert flow(1.0) == pytest.approx(poiseuille(1.0))
    radii = np.linspace(0, 0.2, 50)
    assert (np.diff([flow(r) for r in radii]) >= 0).all()


def test_a_closed_end_has_no_flow():
    system = Lubrication(2, WATER, Closed(), Reservoir(0.0), 0.1)
    flows = system.flows(np.array([1e-3, 2e-3]), lumen_of([1.0, 1.0], 1.0), 0.0)
    assert flows[0] == 0
    assert flows[1] < 0 < flows[2]


WITH_LUMEN = Circuit((LumenStore("part", "a"), Compliance("c", "a", 1.0)), openings=("a",))


@pytest.mark.parametrize(
    ("make", "key", "text"),
    [
        (lambda: Fluid(0.0), "viscosity", "must be above 0 MPa s, got 0"),
        (lambda: Fluid(1.0, -0.5), "index", "must be above 0, got -0.5"),
        (lambda: Fluid(1.0, slowest=0.0), "slowest", "must be above 0 1/s"),
        (lambda: Reservoir(math.nan), "pressure", "must be finite"),
        (lambda: Lubrication(0, WATER, Closed(), Closed(), 0.1), "sections", "at least 1"),
        (lambda: Lubrication(1, WATER, Closed(), Closed(), 0.0), "gap", "must be above 0 mm"),
        (
            lambda: Lubrication(1, WATER, OpenTo("a"), Closed(), 0.1),
            "lower",
            "'a' is not an opening.*there are none",
        ),
        (
            lambda: Lubrication(1, WATER, Closed(), OpenTo("aorta"), 0.1, circuit=BETWEEN),
            "upper",
            "'aorta' is not an opening of the circuit; openings: inlet, outlet",
        ),
        (
            lambda: Lubrication(1, WATER, OpenTo("a"), Closed(), 0.1, circuit=WITH_LUMEN),
            "circuit",
            "leave the element out",
        ),
    ],
)
def test_bad_values_are_refused(make, key, text):
    with pytest.raises(InvalidValue, match=text) as info:
        make()
    assert info.value.key == key


def test_ground_is_no_opening():
    with pytest.raises(InvalidValue, match=f"'{GROUND}' is not a node"):
        Circuit((Compliance("c", "a", 1.0),), openings=(GROUND,))
