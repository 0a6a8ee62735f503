# SPDX-License-Identifier: MIT
"""Viscous flow in tubes whose wall follows a law, against exact and similarity solutions.

Law L: p = K (α - 1). Law N, a neo-Hookean membrane held at its length: p = (G H/R) (1 - 1/α²); α = (r/R)².
Both in units of their modulus; radius R = 1, length L = 1. The solutions are own derivations, checked by a
second method each (collocation, shooting or finite volumes).
"""

import math

import numpy as np
import pytest
from soft import Soft, run
from walls_in_time import radius_of

from annelid.solver.fluid.fluid import Fluid
from annelid.solver.fluid.integrator import integral
from annelid.solver.fluid.lubrication import Closed, Lubrication, Reservoir

CLOSED = Closed()


def linear(α):
    return α - 1, np.ones_like(α)


def membrane(α):
    return 1 - α**-2, 2 * α**-3.0


def empty(α):
    return α, np.ones_like(α)


def soft_tube(law, n, viscosity, lower=CLOSED, upper=CLOSED, *, L=1.0, squeeze=lambda z, t: 0.0, gap=1e-3):
    """The system, the middles of its sections, and the volume of a section at α = 1."""
    drawn, z = math.pi * L / n, (np.arange(n) + 0.5) * L / n
    flow = Lubrication(n, Fluid(viscosity), lower, upper, gap, pressure_scale=1.0)

    def of_volume(V, t):
        p, slope = law(V / drawn)
        return p + squeeze(z, t), slope / drawn

    return Soft(flow, of_volume, radius_of(L, n), volume=drawn, length=L / n), z, drawn


def at_rest(system, law, α, drawn):
    return np.concatenate([law(α)[0], α * drawn])


def areas(step, n, drawn):
    return step.last.unknowns[n:] / drawn


def growing(first, last, factor, most=0.05):
    """Times from 0 with steps that grow from ``first`` to a part of ``last``."""
    times = [0.0, first]
    while times[-1] < last:
        times.append(times[-1] + min(factor * (times[-1] - times[-2]), most * last))
    return np.array(times) * last / times[-1]


@pytest.mark.exact
def test_a_closed_tube_relaxes_as_in_the_exact_solution():
    # Law N: α = 1/(f + g cos πx), f = w coth θ, g = w/sinh θ, θ = π² w t + C; w = 1/4, tanh(C/2) = 1/2.
    n, w = 60, 0.25
    system, x, drawn = soft_tube(membrane, n, 1 / 4)

    def exact(t):
        θ = math.pi**2 * w * t + 2 * math.atanh(0.5)
        return 1 / (w / math.tanh(θ) + w / math.sinh(θ) * np.cos(math.pi * x))

    assert math.sqrt(1 / (w / math.tanh(2 * math.atanh(0.5)) - w / math.sinh(2 * math.atanh(0.5)))) == (
        pytest.approx(2.82842713)
    )
    times = np.linspace(0, 0.4, 41)
    for step in run(system, at_rest(system, membrane, exact(0), drawn), times):
        α = areas(step, n, drawn)
        assert np.sqrt(α) == pytest.approx(np.sqrt(exact(step.last.time)), rel=1e-3)
    assert α.sum() == pytest.approx(exact(0).sum(), rel=1e-8)
    assert abs(α - exact(0)).max() > 1


@pytest.mark.exact
@pytest.mark.parametrize(
    ("law", "viscosity", "middle"),
    [
        (linear, 1 / 8, {0.003: 1.39546194, 0.01: 1.33021798, 0.03: 1.29098171}),
        (membrane, 1 / 4, {0.003: 1.51368254, 0.01: 1.44350284, 0.03: 1.3637529}),
    ],
)
def test_a_bulge_in_a_closed_tube_spreads(law, viscosity, middle):
    # α0 = 1.44 + exp(-((x - 0.5)/0.12)²); radius in the middle over time.
    n = 81
    system, x, drawn = soft_tube(law, n, viscosity)
    α0 = 1.44 + np.exp(-(((x - 0.5) / 0.12) ** 2))
    times = np.concatenate(
        [np.linspace(0, 0.003, 13), np.linspace(0.003, 0.01, 15)[1:], np.linspace(0.01, 0.03, 21)[1:]]
    )
    steps = run(system, at_rest(system, law, α0, drawn), times)
    radii = {round(s.last.time, 9): math.sqrt(areas(s, n, drawn)[n // 2]) for s in steps}
    for t, radius in middle.items():
        assert radii[t] == pytest.approx(radius, rel=1e-3)
    assert areas(steps[-1], n, drawn).mean() == pytest.approx(α0.mean(), rel=1e-8)
    assert α0.mean() == pytest.approx(1.65269446, rel=1e-5)


@pytest.mark.exact
def test_the_front_in_an_empty_tube():
    # p = K α, inlet held at α = 1: front at 1.090320 √t, inflow 0.3765262/√t, α at parts of the way.
    n, L = 100, 1.3
    system, z, drawn = soft_tube(empty, n, 1 / 8, Reservoir(1.0), L=L)
    # At the inlet the tube is open from the beginning; a closed end section would let nothing in.
    start = np.where(np.arange(n) == 0, 1.0, 1e-4)
    steps = run(system, at_rest(system, empty, start, drawn), growing(1e-5, 1.0, 1.2, 0.015))
    α = areas(steps[-1], n, drawn)
    parts = {0.25: 0.88545514, 0.5: 0.73891769, 0.75: 0.53381249, 0.9: 0.3419171}
    for part, area in parts.items():
        assert np.interp(part * 1.090320029, z, α) == pytest.approx(area, rel=0.005)
    # Near the front α² falls linearly.
    last = np.flatnonzero(α > 0.15)[-1]
    a, b = α[last - 1] ** 2, α[last] ** 2
    assert z[last] + b / (a - b) * L / n == pytest.approx(1.090320029, rel=0.005)
    assert α.sum() * L / n == pytest.approx(2 * 0.3765261947, rel=0.005)


@pytest.mark.exact
def test_a_front_in_a_membrane_tube():
    # Law N, α = 2 ahead, inlet held at 4: inflow 0.63164082/√t; α at x/√t = 0.5 and 1.
    n, L, t = 100, 4.0, 1.0
    system, z, drawn = soft_tube(membrane, n, 1 / 4, Reservoir(1 - 4.0**-2), L=L)
    start = np.full(n, 2.0)
    steps = run(system, at_rest(system, membrane, start, drawn), growing(1e-4, t, 1.2))
    α = areas(steps[-1], n, drawn)
    assert (α - 2).sum() * L / n == pytest.approx(2 * 0.63164082, rel=0.005)
    assert np.interp([0.5, 1.0, 2.0], z, α) == pytest.approx([2.9794976, 2.4225025, 2.052193], rel=2e-3)


@pytest.mark.exact
@pytest.mark.parametrize(("stiff", "flow", "inlet"), [(False, 25673.0989, 5.1637827), (True, 16083.587, 4.0)])
def test_steady_flow_through_a_soft_tube_with_dimensions(stiff, flow, inlet):
    # R 4 mm, H 0.25 mm, G 0.2 MPa, L 50 mm, 1 Pa s, 60 to 0 mmHg; closed form of law N, and the rigid tube.
    n, R, L, p = 60, 4.0, 50.0, 60 * 133.322e-6
    drawn, modulus = math.pi * R**2 * L / n, (1e6 if stiff else 1.0) * 0.2 * 0.25 / R

    def law(V, t):
        α = V / drawn
        return modulus * (1 - α**-2), 2 * modulus * α**-3 / drawn

    flow_system = Lubrication(n, Fluid(1e-6), Reservoir(p), Reservoir(0.0), 0.01)
    system = Soft(flow_system, law, radius_of(L, n), volume=drawn, length=L / n)
    steps = run(system, np.concatenate([np.zeros(n), np.full(n, drawn)]), growing(0.01, 20.0, 2.0))
    y = steps[-1].last.unknowns
    radii = radius_of(L, n)(y[n:])[0]
    q = flow_system.flows(y[:n], system.lumen(y), 0.0)
    assert q == pytest.approx(np.full(n + 1, flow), rel=2e-3)
    assert 1.5 * radii[0] - 0.5 * radii[1] == pytest.approx(inlet, rel=1e-3)


@pytest.mark.reference
@pytest.mark.parametrize(
    ("law", "rise", "mean", "power", "lost"),
    [
        (linear, 0.02, 0.079403957, 0.067099291, 0.065511212),
        (membrane, 0.02, -0.0036779573, 0.0068598991, 0.0069334582),
    ],
)
def test_a_squeeze_pumps_against_a_reservoir(law, rise, mean, power, lost):
    # p_ext = P0 (1 - cos 2π(x - t))/2, P0 = 0.6, Γ = 1; cf. Takagi and Balmforth, J. Fluid Mech. 672, 196,
    # 2011 (from memory); the numbers by collocation, whose energy balance closes to 1e-7.
    n, each, cycles = 50, 50, 4

    def squeeze(z, t):
        return 0.3 * (1 - np.cos(2 * np.pi * (z - t)))

    system, z, drawn = soft_tube(law, n, 1 / 8, Reservoir(0.0), Reservoir(rise), squeeze=squeeze)
    steps = run(system, at_rest(system, law, np.ones(n), drawn), np.linspace(0, cycles, cycles * each + 1))
    cycle = steps[-each:]

    def total(of):
        return sum(integral(1 / each, of(s.first), of(s.last)) for s in cycle) / math.pi

    def flows(s):
        return system.system.flows(s.unknowns[:n], system.lumen(s.unknowns), s.time)

    def dissipation(s):
        return system.system.dissipation(s.unknowns[:n], system.lumen(s.unknowns), s.time)

    def squeezing(s):
        return -squeeze(z, s.time) @ -np.diff(flows(s))

    assert total(lambda s: flows(s)[-1]) == pytest.approx(mean, rel=0.01 if mean > 0 else 0.03)
    assert total(squeezing) == pytest.approx(power, rel=0.01)
    assert total(dissipation) == pytest.approx(lost, rel=0.01)
    balance = total(lambda s: rise * flows(s)[-1]) + total(dissipation)
    assert total(squeezing) == pytest.approx(balance, rel=5e-3)
    gained = steps[-1].last.unknowns[n:].sum() - steps[-each - 1].last.unknowns[n:].sum()
    assert total(lambda s: flows(s)[0] - flows(s)[-1]) * math.pi == pytest.approx(gained, abs=1e-8 * math.pi)
