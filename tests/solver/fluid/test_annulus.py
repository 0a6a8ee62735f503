# SPDX-License-Identifier: MIT
"""Flow between a round wall and a cylinder on the axis."""

import math

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.optimize import brentq
from test_lubrication import lumen_of

from annelid.solver.fluid.fluid import Fluid
from annelid.solver.fluid.lubrication import Lubrication, Reservoir
from annelid.solver.fluid.validity import reynolds_number, validity

R, G, K = 3.0, 4e-5, 2e-6


@pytest.mark.exact
@pytest.mark.parametrize("κ", [0.01, 0.1, 0.5, 0.9, 0.99])
def test_newtonian_flow_in_an_annulus(κ):
    # R. B. Bird, W. E. Stewart and E. N. Lightfoot, Transport Phenomena, flow through an annulus, from
    # memory.
    exact = math.pi * R**4 * G / (8 * K) * (1 - κ**4 - (1 - κ**2) ** 2 / math.log(1 / κ))
    assert Fluid(K).flow(np.array([R]), np.array([G]), κ * R)[0] == pytest.approx([exact], rel=1e-5)


@pytest.mark.exact
@pytest.mark.parametrize("n", [0.4, 0.7, 1.6])
@pytest.mark.parametrize("κ", [0.2, 0.8])
def test_flow_of_a_power_law_fluid_in_an_annulus_is_that_of_its_profile(n, κ):
    # Shear stress G (ρ - m²/ρ)/2 at the radius ρ; the velocity u is zero at both walls, which fixes m, and
    # ∫ u 2π ρ dρ = q.
    c = κ * R

    def rate(ρ, m):
        τ = G * (ρ - m**2 / ρ) / 2
        return -math.copysign((abs(τ) / K) ** (1 / n), τ)

    def rise(m):
        return quad(rate, c, R, args=(m,), points=[m], epsabs=1e-10)[0]

    m = brentq(rise, 1.01 * c, 0.99 * R, xtol=1e-13)
    exact = quad(lambda ρ: -math.pi * (ρ**2 - c**2) * rate(ρ, m), c, R, points=[m], epsabs=1e-9)[0]
    flow = Fluid(K, n, slowest=1e-6).flow(np.array([R, R]), np.array([G, -G]), c)[0]
    assert flow == pytest.approx([exact, -exact], rel=1e-5)


@pytest.mark.exact
@pytest.mark.parametrize("n", [0.5, 1.0])
def test_a_narrow_annulus_is_a_slit(n):
    # Slit of the height h and the width w: q = w h² n/(2 (2n + 1)) (h G/(2 K))^(1/n).
    h, c = 0.01, 5.0
    exact = 2 * math.pi * (c + h / 2) * h**2 * n / (2 * (2 * n + 1)) * (h * G / (2 * K)) ** (1 / n)
    q = Fluid(K, n, slowest=1e-9).flow(np.array([c + h]), np.array([G]), c)[0]
    assert q == pytest.approx([exact], rel=2e-3)


@pytest.mark.parametrize("n", [0.5, 1.0, 1.6])
def test_slopes_of_the_flow_in_an_annulus(n):
    fluid, c, r, g = Fluid(K, n), 1.0, np.array([1.01, 1.5, 4.0]), np.array([G, -G / 3, G / 9])
    _, by_gradient, by_radius = fluid.flow(r, g, c)
    step = 1e-6
    along = [fluid.flow(r * (1 + s), g, c)[0] for s in (step, -step)]
    assert by_radius == pytest.approx((along[0] - along[1]) / (2 * step * r), rel=1e-5)
    across = [fluid.flow(r, g * (1 + s), c)[0] for s in (step, -step)]
    assert by_gradient == pytest.approx((across[0] - across[1]) / (2 * step * g), rel=1e-6)


def test_a_lumen_shut_on_a_cylinder_conducts_through_the_residual_gap():
    c, gap, L, n = 2.0, 0.05, 40.0, 8
    channel = Lubrication(n, Fluid(K), Reservoir(1e-3), Reservoir(0.0), gap)
    shut = lumen_of([c - 0.01] * n, L / n)._replace(core=c)
    pressures = 1e-3 * (1 - (np.arange(n) + 0.5) / n)
    q = channel.flows(pressures, shut, 0.0)
    κ = c / (c + gap)
    leak = math.pi * (c + gap) ** 4 / (8 * K) * 1e-3 / L * (1 - κ**4 - (1 - κ**2) ** 2 / math.log(1 / κ))
    assert q == pytest.approx(np.full(n + 1, leak), rel=1e-4)


@pytest.mark.exact
def test_numbers_of_a_flow_around_a_cylinder_are_those_of_the_hydraulic_diameter():
    # ρ v D/η with D = 4 area/perimeter = 2 (R - c).
    c, q = 1.0, 50.0
    v = q / (math.pi * (R**2 - c**2))
    assert reynolds_number(Fluid(K), q, R - c, c) == pytest.approx(1e-9 * v * 2 * (R - c) / K)
    channel = Lubrication(2, Fluid(K), Reservoir(1e-3), Reservoir(0.0), 0.1)
    lumen = lumen_of([R, R], 20.0)._replace(core=c)
    numbers = validity(channel, np.array([7.5e-4, 2.5e-4]), lumen, 0.0, period=1.0)
    flow = channel.flows(np.array([7.5e-4, 2.5e-4]), lumen, 0.0)[0]
    assert numbers.reynolds == pytest.approx(reynolds_number(Fluid(K), flow, R - c, c))
    assert numbers.womersley == pytest.approx((R - c) * math.sqrt(2 * math.pi * 1e-9 / K))
