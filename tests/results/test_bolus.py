# SPDX-License-Identifier: MIT
"""The bolus that a wave carries, against the theory of long waves."""

from dataclasses import replace

import numpy as np
import pytest

from annelid.results.folder.bolus import carried_volume
from annelid.solver.records import FlowAlong

Z = (np.arange(4000) + 0.5) / 4000


def train(φ, mean_flow, index=1.0):
    """A wave r = 1 + φ sin 2πz of the speed 1, in whose frame the flow is constant."""
    r = 1 + φ * np.sin(2 * np.pi * Z)
    flow = np.pi * (mean_flow - 1 - φ**2 / 2 + r**2)
    speed = (3 * index + 1) / (index + 1) * flow / (np.pi * r**2)
    return FlowAlong(Z, np.full_like(Z, 1 / len(Z)), r, np.zeros_like(Z), flow, np.zeros_like(Z), speed)


@pytest.mark.exact
@pytest.mark.parametrize(
    ("φ", "mean_flow", "volume"),
    [
        (0.4, 0.0, 0.0),
        (0.4, 0.255484, 0.0896082),
        (0.6, 0.0, 0.0368719),
        (0.6, 0.457013, 0.402203),
        (0.8, 0.940408, 0.945416),
        (0.9, 1.3887, 1.38765),
    ],
)
def test_bolus_of_a_train_of_waves(φ, mean_flow, volume):
    # A. H. Shapiro, M. Y. Jaffrin and S. L. Weinberg, J. Fluid Mech. 37, 799 (1969), from memory; the volumes
    # over π a² λ are an own derivation, checked by counting cells with a positive stream function.
    assert carried_volume(train(φ, mean_flow), 1.0) / np.pi == pytest.approx(volume, abs=2e-5)


@pytest.mark.exact
@pytest.mark.parametrize("n", [0.5, 1.0, 2.0])
def test_bolus_of_a_fluid_of_a_power_law_is_where_its_stream_function_is_positive(n):
    # Its stream function ∫ (u - c) 2π ρ dρ with u = u0 (1 - (ρ/r)^(1 + 1/n)), by counting cells.
    along, x = train(0.7, 0.6, n), (np.arange(2000) + 0.5) / 2000
    profile = along.peak_speed[:, None] * (1 - x ** (1 + 1 / n)) - 1.0
    stream = np.cumsum(profile * x, axis=1)
    counted = np.sum((stream > 0) * x, axis=1) * 2 / len(x) * np.pi * along.radius**2
    assert carried_volume(along, 1.0) == pytest.approx(np.sum(counted) / len(Z), rel=2e-3)


def test_nothing_is_carried_the_other_way():
    along = train(0.7, 0.6)
    slow = replace(along, flow=-along.flow.clip(0.1), peak_speed=-along.peak_speed)
    assert carried_volume(slow, 1.0) == 0.0
    assert np.isnan(carried_volume(along, np.nan))  # nothing travels
