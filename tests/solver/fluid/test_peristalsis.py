# SPDX-License-Identifier: MIT
"""Long waves in a round tube whose wall moves as given, against closed forms.

Lengths along the tube in wavelengths, time in periods, radius in a, pressure in 8 η c λ/a² (so η = 1/8).
Theory: Shapiro, Jaffrin and Weinberg, J. Fluid Mech. 37, 799, 1969 (from memory); the numbers are computed by
quadrature and by finite volumes.
"""

import math

import numpy as np
import pytest
from scipy.integrate import solve_ivp
from scipy.interpolate import RectBivariateSpline
from soft import run
from walls_in_time import moving

from annelid.solver.fluid.fluid import Fluid
from annelid.solver.fluid.integrator import integral
from annelid.solver.fluid.lubrication import Lubrication, Reservoir

FLUID = Fluid(1 / 8)


def train(φ):
    return lambda z, t: 1 + φ * np.sin(2 * np.pi * (z - t))


def tube(L, n, rise=0.0):
    return Lubrication(n, FLUID, Reservoir(0.0), Reservoir(rise), 1e-4, pressure_scale=1.0)


def outflow(system, wall, steps, *, start=0.0, end=1.0):
    """Volume through the upper end over π, and the steps."""
    times = np.linspace(start, end, steps + 1)
    done = run(system, np.zeros(len(system.names)), times, wall)

    def q(s):
        return system.flows(s.unknowns, wall(s.time), s.time)[-1] / math.pi

    dt = (end - start) / steps
    return sum(integral(dt, q(step.first), q(step.last)) for step in done), done


@pytest.mark.exact
@pytest.mark.parametrize(
    ("φ", "n", "near"),
    [
        (0.1, 40, 1),
        (0.2, 40, 1),
        (0.3, 50, 1),
        (0.4, 60, 1),
        (0.5, 80, 1),
        (0.6, 90, 1),
        (0.7, 120, 1),
        (0.8, 160, 1),
        (0.9, 120, 4),
        (0.95, 160, 4),
    ],
)
def test_a_train_of_waves_pumps_as_in_closed_form(φ, n, near):
    # Free flow φ²(16 - φ²)/(2(2 + 3φ²)), stall pressure φ²(16 - φ²)/(4(1 - φ²)^(7/2)), linear in between.
    free = φ**2 * (16 - φ**2) / (2 * (2 + 3 * φ**2))
    stall = φ**2 * (16 - φ**2) / (4 * (1 - φ**2) ** 3.5)
    wall = moving(train(φ), 1.0, n)
    found, _ = outflow(tube(1.0, n), wall, n)
    assert found == pytest.approx(free, rel=0.002 * near)
    half, _ = outflow(tube(1.0, n, stall / 2), wall, n)
    assert stall / 2 / (1 - half / found) == pytest.approx(stall, rel=0.005 * near)


@pytest.mark.exact
@pytest.mark.parametrize(
    ("N", "φ", "free", "stall"),
    [(0.5, 0.6, 0.6342719, 0.4849641), (1.4, 0.6, 0.908341, 8.720047), (2.5, 0.4, 0.5075192, 2.853562)],
)
def test_a_broken_number_of_waves(N, φ, free, stall):
    # Between reservoirs; cf. Li and Brasseur, J. Fluid Mech. 248, 129, 1993 (from memory).
    n = round(80 * N) + 24
    wall = moving(train(φ), N, n)
    found, _ = outflow(tube(N, n), wall, 96)
    assert found == pytest.approx(free, rel=0.002)
    half, _ = outflow(tube(N, n, stall / 2), wall, 96)
    assert stall / 2 / (1 - half / found) == pytest.approx(stall, rel=0.005)


@pytest.mark.exact
def test_flow_over_time_at_both_ends():
    # N = 1.4, φ = 0.6, pressure rise 2: flows at inlet and outlet at t = 0.125, 0.25, ..., and the
    # pressure in the middle (quadrature).
    expected = np.array(
        [
            [-0.217854, 1.98709, -0.1879316],
            [-0.2844983, 1.761945, 0.5801767],
            [-0.05355209, 0.8115072, 1.008581],
            [0.6162047, 0.03523931, 0.9885932],
            [1.607356, -0.2552084, 1.247585],
            [2.020628, -0.2745696, 2.121255],
        ]
    )
    n = 140
    system, wall = tube(1.4, n, 2.0), moving(train(0.6), 1.4, n)
    _, steps = outflow(system, wall, 200)
    found = []
    for i in range(1, 7):
        last = steps[25 * i - 1].last
        q = system.flows(last.unknowns, wall(last.time), last.time) / math.pi
        found.append([q[0], q[-1], last.unknowns[n // 2 - 1 : n // 2 + 1].mean()])
    assert np.array(found) == pytest.approx(expected, abs=0.02)


@pytest.mark.exact
@pytest.mark.parametrize(("φ", "passed"), [(0.5, 1.0190971), (0.8, 2.4394568)])
def test_a_single_squeeze_carries_fluid_through_the_tube(φ, passed):
    # H = 1 - φ cos²(πx/W) runs from before a tube of length 3 W until it has left (quadrature).
    def squeezed(z, t):
        x = z - t
        return 1 - φ * np.cos(np.pi * x) ** 2 * (abs(x) < 0.5)

    n = 120
    found, _ = outflow(tube(3.0, n), moving(squeezed, 3.0, n), 240, start=-0.5, end=3.5)
    assert found == pytest.approx(passed, rel=0.005)


@pytest.mark.exact
def test_a_single_bolus_is_carried_between_occlusions():
    # H = ε + (1 - ε) cos²(πx/W) and the gap ε elsewhere, ε = 0.1: 0.39281693 of the volume 0.39375.
    def bolus(z, t):
        x = z - t
        return 0.1 + 0.9 * np.cos(np.pi * x) ** 2 * (abs(x) < 0.5)

    n = 120
    found, _ = outflow(tube(3.0, n), moving(bolus, 3.0, n), 240, start=-0.5, end=3.5)
    assert found == pytest.approx(0.39281693, rel=0.005)


@pytest.mark.exact
@pytest.mark.parametrize(("share", "drift"), [(0.5, -0.001202), (0.99, -2.317e-5), (1.01, 2.517e-5)])
def test_fluid_at_the_wall_runs_back_at_any_adverse_pressure(share, drift):
    # Own derivation after Shapiro, Jaffrin and Weinberg; drifts in wavelengths for each wave by integration
    # in closed flow, φ = 0.5, from a crest, at 1e-4 of the radius from the wall. With S = r²/a², flow Q and
    # the part ε of S between particle and wall: dz/dt = 2 Q ε/S, d(ε S)/dt = ε² (∂S/∂t + 2 Q (∂S/∂z)/S).
    φ, n = 0.5, 100
    stall = φ**2 * (16 - φ**2) / (4 * (1 - φ**2) ** 3.5)
    system, wall = tube(1.0, n, (1 - share) * stall), moving(train(φ), 1.0, n)
    _, steps = outflow(system, wall, 110, end=1.1)
    states = [step.last for step in steps]
    flows = [system.flows(s.unknowns, wall(s.time), s.time) / math.pi for s in states]
    flow = RectBivariateSpline([s.time for s in states], np.linspace(0, 1, n + 1), flows)

    def motion(t, y):
        z, δ = y
        x = 2 * np.pi * (z - t)
        H, slope = 1 + φ * np.sin(x), 2 * np.pi * φ * np.cos(x)
        S, by_z = H**2, 2 * H * slope
        ε, Q = δ / S, flow(t, z)[0, 0]
        return 2 * Q * ε / S, ε**2 * by_z * (2 * Q / S - 1)

    start, crest = 0.05, (1 + φ) ** 2
    first = 0.25 + start, crest * (1 - (1 - 1e-4) ** 2)
    end = solve_ivp(motion, (start, start + 1), first, rtol=1e-9, atol=1e-12).y[0, -1]
    assert end - first[0] == pytest.approx(drift, rel=0.02, abs=2e-6)
