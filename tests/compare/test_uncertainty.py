# SPDX-License-Identifier: MIT
"""Uncertainty of the quantities of a comparison against repeated scans and against error propagation."""

import numpy as np
import pytest
from nominal_shapes import tube

from annelid.compare.alignment.closest import SurfaceLocator
from annelid.compare.deviation.coverage import surface_deviations
from annelid.compare.deviation.quantities import Measures
from annelid.compare.deviation.quantity_names import UNITS
from annelid.compare.deviation.radius_field import radius_field
from annelid.compare.deviation.signed import deviations
from annelid.compare.deviation.uncertainty import with_uncertainty

NOISE = 0.2
NOWHERE = np.zeros((6, 6))


def uncertain(found, measures, surface, covariance, **options):
    """Quantities with uncertainty, also seen from the surface."""
    seen = surface_deviations(found, surface)
    return with_uncertainty(found, seen, measures, surface, covariance, **options)


def scan(surface, seed, count=2000):
    noise = np.random.default_rng(seed).normal(0.0, NOISE, (count, 3))
    return surface.sampled(count, seed=seed)[0] + noise


@pytest.mark.exact
def test_noise_makes_the_mean_as_uncertain_as_repeated_scans_show():
    surface = tube(around=120, along=21)
    locator = SurfaceLocator(surface)
    found = deviations(scan(surface, 0), locator)
    result = uncertain(found, Measures(), surface, NOWHERE, replicates=400)
    mean = result["mean deviation"]
    # Independent points: s / √n. The bootstrap of some 200 patches knows it to 1 / √400 of itself.
    assert mean.from_patches == pytest.approx(NOISE / np.sqrt(len(found.value)), rel=0.2)
    assert mean.from_pose == pytest.approx(0.0, abs=1e-12)
    assert mean.low < mean.value < mean.high
    assert mean.high - mean.low == pytest.approx(2 * 1.96 * mean.standard_deviation, rel=0.15)
    repeated = [deviations(scan(surface, seed), locator).value.mean() for seed in range(1, 41)]
    assert np.std(repeated) == pytest.approx(mean.standard_deviation, rel=0.4)


def test_errors_that_are_alike_over_patches_do_not_average_out():
    surface = tube(around=120, along=21)
    found = deviations(scan(surface, 0), SurfaceLocator(surface))
    wavy = found._replace(
        value=found.value + 0.5 * np.cos(4.0 * np.arctan2(found.foot[:, 1], found.foot[:, 0]))
    )
    plain, alike = (uncertain(f, Measures(), surface, NOWHERE)["mean deviation"] for f in (found, wavy))
    assert alike.from_patches > 3.0 * plain.from_patches


@pytest.mark.exact
def test_the_pose_makes_the_eccentricity_uncertain():
    surface, deviation = tube(around=120, along=21), 0.1
    points = surface.sampled(2000)[0] + np.array([2.0, 0.0, 0.0])
    found = deviations(points, SurfaceLocator(surface))
    shift = np.diag([0.0, 0.0, 0.0, deviation**2, 0.0, 0.0])
    result = uncertain(found, Measures(radius_field(surface)), surface, shift, replicates=50)
    assert result["largest eccentricity"].value == pytest.approx(2.0, abs=0.02)
    assert result["largest eccentricity"].from_pose == pytest.approx(
        deviation, rel=0.3
    )  # 50 replicates: 1 / √100
    assert result["bend of the axis"].from_pose < 0.1 * deviation
    assert result["mean deviation"].from_pose < 0.1 * deviation  # one side gains what the other loses
    assert list(result) == list(UNITS)


def test_the_same_seed_gives_the_same_numbers():
    surface = tube(around=60, along=11)
    found = deviations(scan(surface, 0, 500), SurfaceLocator(surface))
    first, second, other = (
        uncertain(found, Measures(), surface, NOWHERE, replicates=20, seed=seed) for seed in (1, 1, 2)
    )
    assert first == second
    assert first != other
