# SPDX-License-Identifier: MIT
"""Indices, correlations, fronts and yields against closed forms and an independent implementation."""

import math

import numpy as np
import pytest
from scipy import stats

from annelid.cases.studies.design import make_design
from annelid.cases.studies.pareto import pareto_front
from annelid.cases.studies.schema import Study
from annelid.cases.studies.sensitivity import rank_correlations, sobol_indices
from annelid.cases.studies.tolerance import estimate_yield, quantity_spread, variance_contributions
from annelid.cases.studies.values import to_internal


def ishigami(x, a=7.0, b=0.1):
    return np.sin(x[:, 0]) + a * np.sin(x[:, 1]) ** 2 + b * x[:, 2] ** 4 * np.sin(x[:, 0])


def drawn(samples, seed=0):
    """Samples of three angles from a study file, in radians."""
    vary = [{"key": f"x{i}", "from": -math.pi, "to": math.pi} for i in (1, 2, 3)]
    sampling = {"method": "sensitivity", "samples": samples, "seed": seed}
    found = make_design(
        Study.model_validate({"title": "x", "case": "cuff", "vary": vary, "sampling": sampling})
    )
    return np.array([[to_internal(point[f"x{i}"]) for i in (1, 2, 3)] for point in found.points])


@pytest.mark.exact
def test_sobol_indices_of_the_ishigami_function():
    # Ishigami and Homma (1990), a = 7, b = 0.1; variances by integration, as in Saltelli et al. (2000).
    a, b, pi = 7.0, 0.1, math.pi
    total = a**2 / 8 + b * pi**4 / 5 + b**2 * pi**8 / 18 + 0.5
    v1 = 0.5 * (1 + b * pi**4 / 5) ** 2
    v2 = a**2 / 8
    v13 = b**2 * pi**8 * (1 / 18 - 1 / 50)
    first = np.array([v1, v2, 0.0]) / total
    whole = np.array([v1 + v13, v2, v13]) / total

    found = sobol_indices("y", ["x1", "x2", "x3"], ishigami(drawn(2048)))
    assert found.first_order == pytest.approx(first, abs=0.02)
    assert found.total == pytest.approx(whole, abs=0.02)
    assert found.used == 2048 * 5
    # 95 % intervals: of 60 drawn independently, about 3 miss; 10 or more would with probability 1e-3.
    missed = 0
    for seed in range(20):
        found = sobol_indices("y", ["x1", "x2", "x3"], ishigami(drawn(256, seed + 1)), seed=seed)
        missed += int((np.abs(found.total - whole) > found.total_half_width[0]).sum())
    assert missed < 10
    assert 0.005 < found.total_half_width.mean() < 0.2


@pytest.mark.exact
def test_a_sample_with_a_run_without_result_is_left_out():
    y = ishigami(drawn(1024))
    y[[3, 1024 + 3, 2000]] = np.nan  # of two samples: numbers 3, and 2000 - 1024
    found = sobol_indices("y", ["x1", "x2", "x3"], y)
    assert (found.used, found.left_out) == (1022 * 5, 2 * 5)
    assert found.first_order[1] == pytest.approx(0.4424, abs=0.03)
    assert sobol_indices("y", ["a", "b", "c"], np.ones(8 * 5)) is None
    assert sobol_indices("y", ["a", "b", "c"], np.full(64 * 5, np.nan)) is None


@pytest.mark.exact
def test_rank_correlations_and_their_intervals():
    rng = np.random.default_rng(5)
    x = rng.normal(size=(60, 3))
    y = np.exp(x[:, 0]) - 0.5 * x[:, 1] + rng.normal(size=60)
    y[7] = np.nan
    found = rank_correlations("y", ["a", "b", "c"], x, y)
    kept = np.isfinite(y)
    for i in range(3):
        expected = stats.spearmanr(x[kept, i], y[kept]).statistic
        assert found.first_order[i] == pytest.approx(expected, rel=1e-12)
    assert (found.used, found.left_out) == (59, 1)
    # Of a bivariate normal with correlation 0.6, Spearman's is 6/pi asin(0.3) = 0.5820 (Pearson 1907).
    truth = 6 / math.pi * math.asin(0.3)
    covered = 0
    for _ in range(400):
        a, e = rng.normal(size=(2, 50))
        found = rank_correlations("y", ["a"], a[:, None], 0.6 * a + 0.8 * e)
        low, high = (
            found.first_order - found.first_order_half_width[0],
            found.first_order + found.first_order_half_width[1],
        )
        covered += bool(low[0] <= truth <= high[0])
    assert 0.92 < covered / 400 < 0.98  # 95 % with a deviation of 1.1 %


def test_correlations_need_enough_varying_values():
    x = np.arange(20.0)[:, None]
    assert rank_correlations("y", ["x"], x[:5], x[:5, 0]) is None
    assert rank_correlations("y", ["x"], x, np.ones(20)) is None
    assert rank_correlations("y", ["x"], np.ones((20, 1)), x[:, 0]) is None
    perfect = rank_correlations("y", ["x"], x, x[:, 0] ** 3)
    assert perfect.first_order == pytest.approx([1.0])
    assert (perfect.first_order_half_width >= 0).all()


def test_the_pareto_front_agrees_with_pairwise_comparison():
    rng = np.random.default_rng(2)
    values = np.round(rng.random((700, 3)), 1)  # ties too
    values[::50, 1] = np.nan
    maximise = (True, False, True)
    costs = values * [-1, 1, -1]
    slow = [
        i
        for i in range(700)
        if np.isfinite(costs[i]).all()
        and not any((costs[j] <= costs[i]).all() and (costs[j] < costs[i]).any() for j in range(700))
    ]
    assert list(pareto_front(values, maximise)) == slow
    circle = np.column_stack([np.cos(np.linspace(0, math.pi / 2, 9)), np.sin(np.linspace(0, math.pi / 2, 9))])
    assert list(pareto_front(circle, (True, True))) == list(range(9))
    assert list(pareto_front(circle, (False, True))) == [8]
    assert pareto_front(np.full((3, 2), np.nan), (True, True)).size == 0


@pytest.mark.exact
def test_fraction_of_conforming_parts_has_exact_interval():
    good = np.array([True] * 18 + [False] * 2)
    found = estimate_yield("", good, 1)
    # Clopper and Pearson for 18 of 20 at 95 %, from memory: 0.683 to 0.988.
    assert (found.conforming, found.parts) == (18, 20)
    assert (found.low, found.high) == (pytest.approx(0.6830, abs=5e-4), pytest.approx(0.9877, abs=5e-4))
    everything = estimate_yield("", np.ones(59, dtype=bool), 0)
    assert everything.low == pytest.approx(0.025 ** (1 / 59), rel=1e-9)  # closed form when all are good


@pytest.mark.exact
def test_contributions_agree_with_the_propagation_of_errors():
    # y = c r^2 / t: relative variance 4 (s_r/r)^2 + (s_t/t)^2 to first order (GUM, JCGM 100:2008, 5.1.2).
    rng = np.random.default_rng(1)
    r, t = 5 * (1 + 0.01 * rng.normal(size=4000)), 0.2 * (1 + 0.03 * rng.normal(size=4000))
    y = r**2 / t
    found = variance_contributions(y, {"r": r, "t": t})
    assert found["r"] == pytest.approx(4 / 13, abs=0.02)
    assert found["t"] == pytest.approx(9 / 13, abs=0.02)
    assert found["not linear"] < 0.01
    spread = quantity_spread("y", "", y, (), {"r": r, "t": t})
    assert spread.values.std() / spread.values.mean() == pytest.approx(math.sqrt(4 * 1e-4 + 9e-4), rel=0.03)
    assert quantity_spread("y", "", np.array([1.0, np.nan]), (), {}) is None
    assert variance_contributions(y[:5], {"r": r[:5], "t": t[:5]}) == {}
