# SPDX-License-Identifier: MIT
"""The bolus that a wave carries around a cylinder, against particles that are followed."""

import numpy as np
import pytest

from annelid.results.folder.annular_bolus import trapped_part
from annelid.results.folder.bolus import carried_volume
from annelid.solver.annular_flow import largest_over_mean
from annelid.solver.fluid.annulus import annular_width
from annelid.solver.records import FlowAlong

C = 1.0  # radius of the cylinder; the wave has the length and the speed 1


def radius(z, mean, φ):
    return C + mean * (1 + φ * np.sin(2 * np.pi * z))


def stream(z, ρ, mean, φ, back):
    """ψ in the frame of the wave, by the profile between two walls at rest; ``back`` is π A - q in it."""
    r = radius(z, mean, φ)
    q = np.pi * (r**2 - C**2) - back
    x, κ = ρ / r, C / r
    slope = (1 - κ**2) / np.log(κ)
    within = [y**2 - y**4 / 2 - slope * y**2 * (np.log(y) - 0.5) for y in (x, np.ones_like(x), κ)]
    return q * (within[0] - within[2]) / (within[1] - within[2]) - np.pi * (ρ**2 - C**2)


def carried_by_particles(mean, φ, back, *, across=30, along=40, steps=150, dt=0.1):
    """Volume of the particles of a wave that never leave it, by Runge and Kutta's method."""
    z, η = np.meshgrid((np.arange(along) + 0.5) / along - 0.25, (np.arange(across) + 0.5) / across)
    r = radius(z, mean, φ)
    x = np.array([z.ravel(), np.sqrt(C**2 + η * (r**2 - C**2)).ravel()])
    weight = np.pi * (r**2 - C**2).ravel() / (along * across)
    stays, h = np.ones(weight.shape, dtype=bool), 1e-5

    def velocity(x):
        z, ρ = x
        up = stream(z, ρ + h, mean, φ, back) - stream(z, ρ - h, mean, φ, back)
        out = stream(z - h, ρ, mean, φ, back) - stream(z + h, ρ, mean, φ, back)
        return np.array([up, out]) / (2 * h * 2 * np.pi * ρ)

    for _ in range(steps):
        start = x[:, stays]
        v1 = velocity(start)
        v2 = velocity(start + dt / 2 * v1)
        v3 = velocity(start + dt / 2 * v2)
        v4 = velocity(start + dt * v3)
        x[:, stays] = start + dt / 6 * (v1 + 2 * v2 + 2 * v3 + v4)
        stays &= np.abs(x[0] - 0.25) < 0.5
    return float(weight[stays].sum())


@pytest.mark.exact
@pytest.mark.parametrize(("mean", "φ", "back"), [(0.25, 0.7, 0.35), (4.0, 0.7, 8.0)])
def test_what_is_carried_around_a_cylinder_never_leaves_the_wave(mean, φ, back):
    z = (np.arange(2000) + 0.5) / 2000
    r = radius(z, mean, φ)
    q = np.pi * (r**2 - C**2) - back
    peak = q / (np.pi * (r**2 - C**2)) * largest_over_mean(C / r)
    along = FlowAlong(z, np.full_like(z, 1 / len(z)), r, np.zeros_like(z), q, np.full_like(z, C), peak)
    counted = carried_by_particles(mean, φ, back)
    whole = np.mean(np.pi * (r**2 - C**2))
    assert 0.05 * whole < counted < 0.95 * whole
    assert carried_volume(along, 1.0) == pytest.approx(counted, rel=0.02)


@pytest.mark.exact
def test_a_narrow_annulus_is_a_plane_channel():
    # u = 3/2 (1 - y²): ψ is zero at y² = 3 - 2 s on both sides of the middle; by hand.
    slip = np.array([0.3, 1.0, 1.1, 1.3, 1.45, 1.6])
    plane = np.sqrt(np.clip(3 - 2 * slip, 0, 1))
    assert trapped_part(np.full(6, 0.9999), slip) == pytest.approx(plane, abs=1e-4)
    assert largest_over_mean(np.array(0.999)) == pytest.approx(1.5, abs=1e-6)


@pytest.mark.exact
def test_the_largest_speed_in_an_annulus_has_the_gradient_of_its_flow():
    # u = G/(4η) (R² - ρ² + (R² - c²) ln(R/ρ)/ln(c/R)); R. B. Bird, W. E. Stewart and E. N. Lightfoot,
    # Transport Phenomena, from memory. The flow for G/(2η) = 1 is that of ``annular_width``.
    R, c = 2.0, 0.7
    ρ = np.linspace(c, R, 100_001)
    speed = (R**2 - ρ**2 + (R**2 - c**2) * np.log(R / ρ) / np.log(c / R)) / 2
    mean = annular_width(np.array([R]), c, 1.0)[0] * (R - c) / (np.pi * (R**2 - c**2))
    assert speed.max() / mean[0] == pytest.approx(float(largest_over_mean(np.array(c / R))), rel=1e-6)


def test_a_fluid_of_a_power_law_has_no_value_around_a_cylinder():
    one = np.ones(3)
    around = FlowAlong(one, one, 2 * one, one, one, one, np.nan * one)
    assert np.isnan(carried_volume(around, 1.0))
