# SPDX-License-Identifier: MIT
"""The volume and the occlusion of waves against closed forms of prescribed walls."""

import numpy as np
import pytest

from annelid.solver.readout.wave_shape import wave_shape


def area(r):
    return np.pi * r**2


@pytest.mark.parametrize("phi", [0.1, 0.4, 0.9])
@pytest.mark.parametrize("waves", [1, 2.5])
@pytest.mark.parametrize("phase", [0.0, 0.3, 0.71])
def test_a_sinusoidal_wall(phi, waves, phase):
    """r = a (1 + φ sin 2π(z/λ - t)); the wall of Shapiro, Jaffrin and Weinberg (1969), volume by hand."""
    a, length = 3.0, 20.0
    z = np.linspace(0, waves * length, 4001)
    shape = wave_shape(z, area(a * (1 + phi * np.sin(2 * np.pi * (z / length - phase)))))
    if waves > 2:  # a whole wave is between two necks
        assert shape.volume == pytest.approx(np.pi * a**2 * length * (2 * phi - phi**2 / 2), rel=1e-4)
        assert shape.occlusion == pytest.approx(phi, rel=1e-4)
    else:  # part of a wave, or the squeeze between two crests
        assert shape.volume <= np.pi * a**2 * length * (2 * phi + phi**2 / 2) * (1 + 1e-6)


def test_a_single_bulge():
    """A bulge b (1 + cos)/2 of the area on a plain tube displaces b w/2."""
    z = np.linspace(0, 60, 6001)
    bulge = np.where(np.abs(z - 20) < 5, 4.0 * (1 + np.cos(np.pi * (z - 20) / 5)) / 2, 0.0)
    shape = wave_shape(z, 10.0 + bulge)
    assert shape.volume == pytest.approx(4.0 * 10 / 2, rel=1e-6)
    assert shape.occlusion == pytest.approx((np.sqrt(1.4) - 1) / (np.sqrt(1.4) + 1), rel=1e-6)


def test_a_single_squeeze():
    """A squeeze d (1 + cos)/2 of the area of a plain tube displaces d w/2."""
    z = np.linspace(0, 60, 6001)
    dent = np.where(np.abs(z - 20) < 5, 8.0 * (1 + np.cos(np.pi * (z - 20) / 5)) / 2, 0.0)
    shape = wave_shape(z, 10.0 - dent)
    assert shape.volume == pytest.approx(8.0 * 10 / 2, rel=1e-6)
    assert shape.occlusion == pytest.approx((1 - np.sqrt(0.2)) / (1 + np.sqrt(0.2)), rel=1e-6)


def test_two_bulges_are_not_a_squeeze():
    z = np.linspace(0, 60, 6001)
    bulges = sum(
        np.where(np.abs(z - c) < 5, 4.0 * (1 + np.cos(np.pi * (z - c) / 5)) / 2, 0.0) for c in (15, 45)
    )
    assert wave_shape(z, 10.0 + bulges + 1e-3 * (z - 30) ** 2 / 900).volume == pytest.approx(20.0, rel=0.01)


def test_what_is_between_two_squeezes_is_a_bolus():
    z = np.linspace(0, 60, 6001)
    dents = sum(np.where(np.abs(z - c) < 5, 4.0 * (1 + np.cos(np.pi * (z - c) / 5)), 0.0) for c in (20, 40))
    assert wave_shape(z, 10.0 - dents).volume == pytest.approx(8.0 * 20 - 8.0 * 10 / 2, rel=1e-4)


def test_clamped_ends_do_not_count():
    z = np.linspace(0, 60, 6001)
    clamped = 10 - 2 * (np.exp(-z / 2) + np.exp((z - 60) / 2))
    undershoot = -0.001 * np.cos(np.pi * np.minimum(np.abs(z - 20) / 10, 1.5))  # beside the bulge
    bulge = np.where(np.abs(z - 20) < 5, 4.0 * (1 + np.cos(np.pi * (z - 20) / 5)) / 2, 0.0)
    assert wave_shape(z, clamped + bulge + undershoot).volume == pytest.approx(20.0, rel=0.05)


def test_a_plain_tube_has_no_wave():
    z = np.linspace(0, 60, 61)
    assert wave_shape(z, np.full(61, 7.0)) == (0.0, 0.0)


def test_rings_of_one_bulge_are_one_wave():
    """A bulge over eight rings with a shallow dip between them, on a tube with clamped ends."""
    z = np.linspace(0, 60, 6001)
    bulge = np.where(np.abs(z - 30) < 10, 4.0 * (1 + np.cos(np.pi * (z - 30) / 10)) / 2, 0.0)
    dips = 0.12 * bulge * (1 - np.cos(2 * np.pi * (z - 20) / 2.5))
    undershoot = -0.001 * np.cos(np.pi * np.minimum(np.abs(z - 30) / 15, 1.5))
    clamped = 10 - 2 * (np.exp(-z / 2) + np.exp((z - 60) / 2))
    found = wave_shape(z, clamped + bulge - dips + undershoot)
    assert wave_shape(z, 10 + bulge - dips).volume == pytest.approx(35.2, rel=0.01)  # no neck beside it
    assert found.volume == pytest.approx((1 - 0.12) * 4.0 * 20 / 2, rel=0.05)
