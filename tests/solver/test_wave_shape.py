# SPDX-License-Identifier: MIT
"""The volume and the occlusion of waves against closed forms of prescribed walls."""

from itertools import pairwise

import numpy as np
import pytest

from annelid.solver.readout.wave_shape import Sections, wave_shape

Z = np.linspace(0, 60, 1201)
CLAMPED = 10 - 2 * (np.exp(-Z / 2) + np.exp((Z - 60) / 2))  # mm²
NARROW = 10 - 3 * np.sin(np.pi * Z / 60)  # a tube stretched between its ends


def bump(centre, height):
    """b (1 + cos)/2 over 10 mm, with the volume 5 b."""
    u = Z - centre
    return np.where(np.abs(u) < 5, height * (1 + np.cos(np.pi * u / 5)) / 2, 0.0)


def wave(change, rest=CLAMPED, core=0.0):
    return wave_shape(Sections(Z, rest + change, core), Sections(Z, rest, core))


@pytest.mark.parametrize("core", [0.0, 0.5])
@pytest.mark.parametrize("rest", [CLAMPED, NARROW, np.full_like(Z, 7.0)])
def test_a_tube_at_rest_has_no_wave(rest, core):
    """Narrower in the middle or at its ends, with or without a cylinder in it."""
    assert wave(0.0, rest, core) == (0.0, 0.0)


@pytest.mark.parametrize("phi", [0.1, 0.4, 0.9])
@pytest.mark.parametrize("phase", [0.0, 0.3, 0.71])
def test_a_sinusoidal_wall(phi, phase):
    """r = a (1 + φ sin 2π(z/λ - t)), the wall of Shapiro, Jaffrin and Weinberg (1969); a bulge by hand."""
    a, length = 3.0, 20.0
    z = np.linspace(0, 3 * length, 6001)
    r = a * (1 + phi * np.sin(2 * np.pi * (z / length - phase)))
    shape = wave_shape(Sections(z, np.pi * r**2), Sections(z, np.full_like(z, np.pi * a**2)))
    assert shape.volume == pytest.approx(np.pi * a**2 * length * (2 * phi / np.pi + phi**2 / 4), rel=1e-3)
    assert shape.occlusion == pytest.approx(phi, rel=1e-4)


@pytest.mark.parametrize("height", [4.0, -4.0])
@pytest.mark.parametrize("rest", [CLAMPED, NARROW])
def test_a_single_bulge_or_squeeze_displaces_its_volume(height, rest):
    assert wave(bump(20, height), rest).volume == pytest.approx(20.0, rel=1e-3)


@pytest.mark.parametrize("core", [0.0, 0.5])
@pytest.mark.parametrize("change", [4.0, -8.0])
def test_the_occlusion_of_a_single_wave(change, core):
    """(h_max - h_min)/(h_max + h_min) with h = √(A/π) - c, on a plain tube."""
    widest, narrowest = (np.sqrt(a / np.pi) - core for a in sorted((10.0 + change, 10.0), reverse=True))
    found = wave(bump(20, change), np.full_like(Z, 10.0), core).occlusion
    assert found == pytest.approx((widest - narrowest) / (widest + narrowest), rel=1e-6)


def test_a_lumen_that_shuts_or_is_opened_from_shut_is_occluded():
    shut = np.full_like(Z, np.pi * 0.5**2)
    assert wave(-10 * bump(20, 1.0), np.full_like(Z, 10.0)).occlusion == pytest.approx(1.0)
    assert wave(bump(20, 1.0), shut, 0.5).occlusion == 1.0


def test_of_two_bulges_apart_the_larger_counts():
    assert wave(bump(15, 4.0) + bump(45, 3.0)).volume == pytest.approx(20.0, rel=1e-3)


def test_rings_that_overlap_are_one_wave():
    """Two bulges b, whose sum is b between their centres: there is no neck."""
    both = bump(27.5, 4.0) + bump(32.5, 4.0)
    assert wave(both).volume == pytest.approx(40.0, rel=1e-3)


@pytest.mark.parametrize("rest", [CLAMPED, NARROW])
def test_the_volume_follows_the_shape_without_jumps(rest):
    """One bulge hands over to the next, on its way past every share, while a squeeze deepens; the bound
    2 ε L holds for a change of area ε. The necks of the wall, by which waves were told apart before, come
    and go meanwhile.
    """
    shares = np.linspace(0, 1, 101)
    areas = [bump(20, 4 * (1 - s)) + bump(27, 4 * s) - bump(45, 5 * s) for s in shares]
    volumes = [wave(change, rest).volume for change in areas]
    ε = max(np.abs(b - a).max() for a, b in pairwise(areas))
    assert np.abs(np.diff(volumes)).max() < 1.2 * ε * 10  # of what moves, 10 mm at a time
    assert np.ptp(volumes) > 4.0


def test_other_stations_at_rest_are_interpolated():
    """As those of a 3-D part, whose sections are where planes cut it."""
    z = np.linspace(0, 60, 4001)
    now = Sections(Z, NARROW + bump(20, 4.0))
    rest = Sections(z[::-1], np.interp(z, Z, NARROW)[::-1])
    assert wave_shape(now, rest).volume == pytest.approx(20.0, rel=1e-3)
