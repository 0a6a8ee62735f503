# SPDX-License-Identifier: MIT
"""Colours and numbers of the page about a comparison."""

import numpy as np
import pytest

from annelid.compare.page.diverging import colour_limit, diverging_colours
from annelid.compare.page.pictures import _REASON_COLOURS
from annelid.compare.page.words import with_error
from annelid.compare.scans.cleaning_steps import STEPS
from annelid.solver.display import DisplayUnit


def lightness(rgb):
    """L* of sRGB colours: luminance of IEC 61966-2-1, lightness of ISO/CIE 11664-4 (both from memory)."""
    linear = np.where(rgb <= 0.04045, rgb / 12.92, ((rgb + 0.055) / 1.055) ** 2.4)
    y = linear @ [0.2126, 0.7152, 0.0722]
    return np.where(y > (6 / 29) ** 3, 116.0 * np.cbrt(y) - 16.0, y * (29 / 3) ** 3)


@pytest.mark.exact
def test_equal_steps_of_the_colours_are_equally_light_on_both_sides():
    found = lightness(diverging_colours()(np.linspace(0.0, 1.0, 257))[:, :3])
    np.testing.assert_allclose(found, found[::-1], atol=0.3)
    assert found.argmax() == 128
    np.testing.assert_allclose(np.abs(np.diff(found)), (found[128] - found[0]) / 128, atol=0.05)


def test_the_two_sides_have_different_hues_and_zero_has_none():
    low, middle, high = diverging_colours()(np.array([0.0, 0.5, 1.0]))[:, :3]
    assert low[2] > low[0] + 0.3
    assert high[0] > high[2] + 0.3
    assert np.ptp(middle) < 0.01


@pytest.mark.parametrize(
    ("values", "limit"), [([0.0, 0.0], 1.0), ([-0.0271, 0.01], 0.03), ([7.9, np.nan], 8.0), ([9.2], 10.0)]
)
def test_colours_end_at_a_round_number(values, limit):
    assert colour_limit(np.array(values)) == pytest.approx(limit)


@pytest.mark.parametrize(
    ("value", "deviation", "text"),
    [
        (-0.01234, 0.00567, "\N{MINUS SIGN}0.0123 ± 0.0057 mm"),
        (123.4, 25.0, "123 ± 25 mm"),
        (0.5, 0.0, "0.5 mm"),
        (np.nan, 1.0, "not known"),
    ],
)
def test_numbers_have_the_digits_that_their_uncertainty_leaves(value, deviation, text):
    assert with_error(value, deviation, DisplayUnit("mm", 1.0)).replace("\xa0", " ") == text


def test_every_reason_of_removal_has_a_colour_of_its_own():
    assert len(set(_REASON_COLOURS)) >= len(STEPS) + 2
