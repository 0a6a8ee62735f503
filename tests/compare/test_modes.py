# SPDX-License-Identifier: MIT
"""Modes of variation of synthetic fields, whose modes are known."""

import numpy as np
import pytest

from annelid.compare.repeatability.modes import principal_modes
from annelid.compare.repeatability.real_modes import real_modes

M = 1200
ANGLE = 2.0 * np.pi * np.arange(M) / M
SHAPES = np.stack([np.cos(2.0 * ANGLE), np.sin(3.0 * ANGLE)])
SIZES = np.array([0.2, 0.1])
PATCH = np.arange(M) * 60 // M
EVEN = np.full(M, 1.0 / M)


def known_fields(n=12, seed=0):
    """Fields that are exactly a mean and two modes with uncorrelated scores of unit variance."""
    rng = np.random.default_rng(seed)
    z = np.linalg.qr(np.column_stack([np.ones(n), rng.normal(size=(n, 2))]))[0][:, 1:] * np.sqrt(n - 1)
    return 1.0 + 0.3 * np.cos(ANGLE) + (z * SIZES) @ SHAPES, z


def with_holes(fields, share, seed=0):
    """Fields with one round hole each, at a random place."""
    rng, holed = np.random.default_rng(seed), fields.copy()
    for row in holed:
        row[(rng.integers(M) + np.arange(int(share * M))) % M] = np.nan
    return holed


def noise(n, rng, *, within=6):
    """Noise that is the same at neighbouring places, as medians over spots are."""
    return 0.02 * np.repeat(rng.normal(size=(n, M // within)), within, axis=1)


@pytest.mark.exact
def test_known_modes_are_found_exactly():
    fields, z = known_fields()
    found = principal_modes(fields, EVEN, 2)
    # Energies of cos 2θ and sin 3θ are halves of the squared amplitudes: 4 to 1.
    assert found.energy == pytest.approx([0.8, 0.2])
    np.testing.assert_allclose(found.mean, 1.0 + 0.3 * np.cos(ANGLE), atol=1e-12)
    for i in range(2):
        sign = np.sign(found.scores[:, i] @ z[:, i])
        np.testing.assert_allclose(sign * found.shapes[i], SIZES[i] * SHAPES[i], atol=1e-12)
        np.testing.assert_allclose(sign * found.scores[:, i], z[:, i], atol=1e-9)
    np.testing.assert_allclose(found.rest, 0.0, atol=1e-12)


@pytest.mark.exact
def test_modes_are_those_of_a_singular_value_decomposition_with_weights():
    rng = np.random.default_rng(1)
    fields, weight = rng.normal(size=(7, 40)), rng.random(40)
    found = principal_modes(fields, weight, 3)
    scaled = (fields - fields.mean(axis=0)) * np.sqrt(weight / weight.sum())
    left, size, _ = np.linalg.svd(scaled, full_matrices=False)
    assert found.energy == pytest.approx(size[:3] ** 2 / (size**2).sum())
    np.testing.assert_allclose(np.abs(found.scores), np.abs(left[:, :3]) * np.sqrt(6.0), atol=1e-9)


@pytest.mark.exact
def test_exact_modes_are_recovered_behind_holes():
    fields, _ = known_fields()
    found = principal_modes(with_holes(fields, 0.3), EVEN, 2)
    np.testing.assert_allclose(found.filled, fields, atol=1e-5)
    assert found.energy == pytest.approx([0.8, 0.2], abs=1e-4)


@pytest.mark.exact
def test_all_scans_the_same_have_no_mode():
    found, tests = real_modes(np.ones((8, M)), EVEN, PATCH)
    assert len(found.energy) == 0
    assert tests == []


def test_noise_alone_has_a_mode_in_one_case_of_twenty():
    counts = [
        len(real_modes(noise(8, np.random.default_rng(s)), EVEN, PATCH, seed=s)[0].energy) for s in range(40)
    ]
    assert sum(count > 0 for count in counts) <= 5  # more have a chance of 1.4 % at a level of 5 %


def test_two_modes_above_the_noise_are_counted():
    counts = []
    for seed in range(6):
        rng = np.random.default_rng(seed)
        fields = (rng.normal(size=(15, 2)) * [0.04, 0.025]) @ SHAPES + noise(15, rng)
        found, tests = real_modes(fields, EVEN, PATCH, seed=seed)
        counts.append(len(found.energy))
        assert [test.p <= 0.05 for test in tests] == [True] * counts[-1] + [False] * (len(tests) - counts[-1])
    assert counts.count(2) >= 5


def test_two_modes_are_counted_behind_holes():
    rng = np.random.default_rng(9)
    fields = (rng.normal(size=(20, 2)) * [0.05, 0.03]) @ SHAPES + noise(20, rng)
    found, _ = real_modes(with_holes(fields, 0.2), EVEN, PATCH)
    assert len(found.energy) == 2
    # Noise of 0.02 in 16 of 20 fields adds 0.005 across the smaller mode of 0.03/√2: a cosine of 0.97.
    planes = [np.linalg.qr(shapes.T)[0] for shapes in (found.shapes, SHAPES)]
    assert np.linalg.svd(planes[0].T @ planes[1])[1].min() > 0.95


def test_few_scans_have_few_modes():
    # Three spare values at each place: of five scans at most two modes, of four at most one.
    fields = np.random.default_rng(2).normal(size=(5, 3)) @ np.stack([np.cos(k * ANGLE) for k in (1, 2, 3)])
    assert len(real_modes(fields, EVEN, PATCH)[0].energy) == 2
    assert len(real_modes(fields[:4], EVEN, PATCH)[0].energy) == 1
