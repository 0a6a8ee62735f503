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
    else:
        assert shape.volume <= np.pi * a**2 * length * (2 * phi - phi**2 / 2) * (1 + 1e-6)


def test_a_single_bulge():
    """A bulge b (1 + cos)/2 of the area on a plain tube displaces b w/2."""
    z = np.linspace(0, 60, 6001)
    bulge = np.where(np.abs(z - 20) < 5, 4.0 * (1 + np.cos(np.pi * (z - 20) / 5)) / 2, 0.0)
    shape = wave_shape(z, 10.0 + bulge)
    assert (shape.volume, shape.crest) == pytest.approx((4.0 * 10 / 2, 20.0), rel=1e-6)


def test_a_squeeze_keeps_what_is_on_its_larger_side():
    z = np.linspace(0, 60, 6001)
    dent = np.where(np.abs(z - 20) < 5, 8.0 * (1 + np.cos(np.pi * (z - 20) / 5)) / 2, 0.0)
    shape = wave_shape(z, 10.0 - dent)
    assert shape.volume == pytest.approx(
        8.0 * 40 - 8.0 * 10 / 4, rel=1e-4
    )  # half of the dent is above z = 20
    assert shape.occlusion == pytest.approx((1 - np.sqrt(0.2)) / (1 + np.sqrt(0.2)), rel=1e-6)


def test_a_plain_tube_has_no_wave():
    z = np.linspace(0, 60, 61)
    assert wave_shape(z, np.full(61, 7.0))[:2] == (0.0, 0.0)
