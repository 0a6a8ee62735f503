# SPDX-License-Identifier: MIT
"""Charging of fixed and soft capacitors through a resistance, with the balance of energy."""

import math
from dataclasses import dataclass

import numpy as np
import pytest
from soft import Soft, run, slope_errors

from annelid.geometry.errors import InvalidValue
from annelid.solver.fluid.charging import Charging, Feed
from annelid.solver.fluid.flow_system import LumenState
from annelid.solver.fluid.integrator import integral


@dataclass(frozen=True)
class Function:
    of: object

    def value(self, t):
        return self.of(t)


def fixed(capacitance):
    """Law of a fixed capacitor."""
    return lambda Q, t: (Q / capacitance, np.full_like(Q, 1 / capacitance))


def film(Q, t):
    """Free equal-biaxial neo-Hookean film: e = q (1 + q²)^(-2/3), l = (1 + q²)^(1/6); own derivation."""
    s = 1 + Q**2
    return Q * s ** (-2 / 3), s ** (-2 / 3) - 4 / 3 * Q**2 * s ** (-5 / 3)


def charged(law, source, times, *, R=1.0, leak=None):
    """Steps from no charge, and the energies of source, resistance, leak and part up to each step."""
    charging = Charging((Feed("film", source, R, leak),))
    steps = run(Soft(charging, law), [0.0, 0.0], times)
    energies, sums = [], np.zeros(4)
    for dt, step in zip(np.diff(times), steps, strict=True):
        first, last = (charging.powers(s.unknowns[:1], s.stored[:1], s.time)[0] for s in step)
        sums = sums + integral(dt, np.array([*first, first.part]), np.array([*last, last.part]))
        energies.append(sums)
    return steps, np.array(energies)


@pytest.mark.exact
def test_a_fixed_capacitor_loses_half_of_the_energy_of_the_source():
    # V = Vs (1 - e^(-t/RC)), source C Vs² (1 - e^(-t/RC)), loss C Vs² (1 - e^(-2t/RC))/2.
    R, C, Vs = 3.0, 0.5, 2.0
    times = np.linspace(0, 8 * R * C, 401)
    steps, energies = charged(fixed(C), Vs, times, R=R)
    decay = np.exp(-times[1:] / (R * C))
    assert [s.last.unknowns[0] for s in steps] == pytest.approx(Vs * (1 - decay), rel=1e-3, abs=1e-4)
    assert energies[:, 0] == pytest.approx(C * Vs**2 * (1 - decay), rel=1e-3, abs=1e-4)
    assert energies[:, 1] == pytest.approx(C * Vs**2 * (1 - decay**2) / 2, rel=1e-3, abs=1e-4)
    stored = C * np.array([s.last.unknowns[0] for s in steps]) ** 2 / 2
    assert energies[:, 3] == pytest.approx(stored, rel=1e-3, abs=1e-4)
    assert energies[-1, 1] / energies[-1, 0] == pytest.approx(0.5, abs=1e-3)


@pytest.mark.exact
def test_a_leak_lowers_the_voltage_and_shortens_the_time():
    # R and R_leak in parallel discharge it, and they divide the voltage.
    R, leak, C = 2.0, 6.0, 0.5
    τ, end = C * R * leak / (R + leak), 1.0 * leak / (R + leak)
    times = np.linspace(0, 3 * τ, 201)
    steps, energies = charged(fixed(C), 1.0, times, R=R, leak=leak)
    assert [s.last.unknowns[0] for s in steps] == pytest.approx(end * (1 - np.exp(-times[1:] / τ)), rel=1e-3)
    # ∫ V²/R_leak dt in closed form.
    x = np.exp(-3.0)
    assert energies[-1, 2] == pytest.approx(end**2 / leak * τ * (3 - 2 * (1 - x) + (1 - x**2) / 2), rel=1e-3)
    assert energies[-1, 0] == pytest.approx(energies[-1, 1:].sum())


# Steps of the source to es: voltage, current, stretch, and energies of source, elasticity, field and heat.
FILM = {
    0.4: {
        1.0: (0.24509027, 0.15490973, 1.01060805, 0.102262657, 0.000663464795, 0.0313294778, 0.0702697145),
        5.0: (0.392251205, 0.00774879507, 1.03015692, 0.176700516, 0.00519618617, 0.0866387377, 0.0848655917),
    },
    0.68: {
        1.0: (0.393225049, 0.286774951, 1.03033526, 0.301345241, 0.00525634602, 0.0871297773, 0.208959118),
        5.0: (0.619115634, 0.0608843662, 1.11344363, 0.647073521, 0.0650664587, 0.294568627, 0.287438435),
        30.0: (0.676016969, 0.00398303107, 1.18898866, 0.918707716, 0.16387782, 0.456663239, 0.298166657),
    },
}


@pytest.mark.exact
@pytest.mark.parametrize("es", FILM)
def test_a_soft_film_charges_and_stretches(es):
    # Own derivation, checked by quadrature.
    times = np.concatenate([np.linspace(0, 1, 81), np.linspace(1, 5, 81)[1:], np.linspace(5, 30, 126)[1:]])
    steps, energies = charged(film, es, times)
    found = {}
    for step, (source, heat, _, part) in zip(steps, energies, strict=True):
        e, q = step.last.unknowns
        l = (1 + q**2) ** (1 / 6)  # noqa: E741
        elastic, field = (2 * l**2 + l**-4 - 3) / 2, q * e / 2
        assert part == pytest.approx(elastic + field, rel=1e-3, abs=1e-4)
        found[round(step.last.time, 9)] = (e, es - e, l, source, elastic, field, heat)
    for t, expected in FILM[es].items():
        assert found[t] == pytest.approx(expected, rel=1e-3)


@pytest.mark.exact
def test_a_free_film_stores_more_than_half_of_the_energy():
    # At es = 0.68 the film stores 0.690 of the energy of a step (not 1/2, as a fixed capacitor does).
    times = np.concatenate([np.linspace(0, 5, 101), np.linspace(5, 100, 191)[1:]])
    _, energies = charged(film, 0.68, times)
    assert energies[-1, 3] / energies[-1, 0] == pytest.approx(0.690300382, rel=1e-3)
    assert energies[-1, 0] == pytest.approx(0.963162298, rel=1e-3)


@pytest.mark.exact
def test_a_slow_ramp_loses_little():
    # Ramp to 0.6 in the time T, then held: heat for T = 1, 10, 100 R C0 (own derivation, quadrature).
    for T, heat in ((1, 0.164385264), (10, 0.0540074686), (100, 0.0079995518)):
        ramp = Function(lambda t, T=T: 0.6 * min(t / T, 1.0))
        times = np.concatenate([np.linspace(0, T, 201), np.linspace(T, T + 30, 201)[1:]])
        _, energies = charged(film, ramp, times)
        assert energies[-1, 1] == pytest.approx(heat, rel=2e-3)


@pytest.mark.exact
def test_above_pull_in_the_resistance_only_delays():
    # es = 0.75 (pull-in at 0.6874): times to the stretches 1.1, 1.2599, 2 (quadrature).
    steps, energies = charged(film, 0.75, np.linspace(0, 60, 601))
    stretch = np.array([(1 + s.last.unknowns[1] ** 2) ** (1 / 6) for s in steps])
    times = np.array([s.last.time for s in steps])
    assert np.interp([1.1, 1.25992105, 2.0], stretch, times) == pytest.approx(
        [2.8004075, 13.338411, 57.472609], rel=1e-3
    )
    assert np.interp(2.0, stretch, energies[:, 1]) == pytest.approx(1.4529405, rel=1e-3)


@pytest.mark.exact
def test_a_film_with_dimensions():
    # 20 x 20 x 0.5 mm, 0.2 MPa, ε_r 2.8, 1 Gohm, 20 kV: voltage, charge, loss after 0.02 s (own calculation).
    A0, H, G, ε = 400.0, 0.5, 0.2, 2.8 * 8.8541878128e-6
    field = H * math.sqrt(G / ε)  # kV for e = 1
    charge = ε * A0 / H * field  # uC for q = 1: N mm/kV = mJ/kV = uC

    def law(Q, t):
        e, slope = film(Q / charge, t)
        return e * field, slope * field / charge

    steps, energies = charged(law, 20.0, np.linspace(0, 0.02, 101), R=1.0)
    V, Q = steps[-1].last.unknowns
    assert pytest.approx((12.21991, 0.2554794), rel=1e-3) == (V, Q)
    assert energies[-1, [0, 1]] == pytest.approx([5.109589, 3.507306], rel=1e-3)


def test_energy_comes_back_when_the_source_goes_down():
    wave = Function(lambda t: 0.3 * (1 - math.cos(2 * math.pi * t / 20)))
    _steps, energies = charged(film, wave, np.linspace(0, 60, 1201))
    assert np.diff(energies[:, 0]).min() < -1e-4
    # Over a cycle the part keeps nothing: what the source gave was lost.
    cycle = energies[-1] - energies[-401]
    assert abs(cycle[3]) < 1e-3 * cycle[0]
    assert cycle[0] == pytest.approx(cycle[1], rel=5e-3)


def test_derivatives():
    charging = Charging((Feed("a", Function(math.sin), 2.0, 5.0), Feed("b", 3.0, 0.5, relaxation=4.0)))
    lumen = LumenState(np.array([0.1, 0.2]), np.ones(2), np.ones(2))
    assert slope_errors(charging, np.array([0.4, 0.9]), lumen, 0.6) < 1e-8
    assert charging.names == ("voltage of a", "voltage of b")


@pytest.mark.parametrize(
    ("make", "key", "text"),
    [
        (
            lambda: Feed("ring", 1.0, 0.0),
            "resistance",
            "electrode 'ring': resistance: must be above 0 Gohm, got 0",
        ),
        (lambda: Feed("ring", 1.0, 1.0, -2.0), "leak_resistance", "electrode 'ring'.*got -2"),
        (lambda: Feed("ring", math.inf, 1.0), "source", "must be finite"),
        (lambda: Charging(()), "feeds", "at least one electrode"),
        (lambda: Charging((Feed("ring", 1.0, 1.0), Feed("ring", 2.0, 1.0))), "feeds", "'ring' is fed twice"),
    ],
)
def test_bad_values_are_refused(make, key, text):
    with pytest.raises(InvalidValue, match=text) as info:
        make()
    assert info.value.key == key
