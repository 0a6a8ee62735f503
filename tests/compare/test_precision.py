# SPDX-License-Identifier: MIT
"""Repeatability, reproducibility, outlying groups and agreement against worked examples of the literature."""

import numpy as np
import pytest
from scipy import stats

from annelid.compare.repeatability.agreement import agreement
from annelid.compare.repeatability.components import (
    INTERACTION,
    OPERATOR,
    PART,
    REPEAT,
    variance_components,
)
from annelid.compare.repeatability.consistency import (
    cochran_critical,
    consistency,
    grubbs_critical,
    grubbs_pair_critical,
    mandel_critical,
)
from annelid.compare.repeatability.listing import ScanDesign
from annelid.compare.repeatability.outlying import generalised_esd, wilks_test
from annelid.compare.repeatability.precision import levels, precisions

pytestmark = pytest.mark.exact

# Sulfur content of coal, level 1, by eight laboratories: ISO 5725-2:1994, example 1 (from memory; the list
# gives the published cell means 0.708 ... 0.677 and standard deviations 0.005 ... 0.025, so it is right).
COAL = (
    (0.71, 0.71, 0.70, 0.71),
    (0.69, 0.67, 0.68),
    (0.66, 0.65, 0.69),
    (0.67, 0.65, 0.66),
    (0.70, 0.69, 0.66, 0.71, 0.69),
    (0.73, 0.74, 0.73),
    (0.71, 0.71, 0.69),
    (0.70, 0.65, 0.68),
)
# Peak expiratory flow, l/min, of 17 subjects, twice by a large and a mini meter: Bland and Altman, Lancet
# 1986 i:307 (from memory; the list gives the published mean difference -2.1, s 38.8 and r 0.94, so it is
# right).
LARGE = (494, 395, 516, 434, 476, 557, 413, 442, 650, 433, 417, 656, 267, 478, 178, 423, 427)
LARGE_AGAIN = (490, 397, 512, 401, 470, 611, 415, 431, 638, 429, 420, 633, 275, 492, 165, 372, 421)
MINI = (512, 430, 520, 428, 500, 600, 364, 380, 658, 445, 432, 626, 260, 477, 259, 350, 451)
MINI_AGAIN = (525, 415, 508, 444, 500, 625, 460, 390, 642, 432, 420, 605, 227, 467, 268, 370, 443)


def one_part(groups):
    values = np.concatenate([np.asarray(group, dtype=float) for group in groups])
    operator = np.repeat(np.arange(len(groups)), [len(group) for group in groups])
    names = tuple(f"lab {i + 1}" for i in range(len(groups)))
    return values, ScanDesign(("part",), names, np.zeros(len(values), dtype=int), operator)


def test_the_unbalanced_example_of_the_standard():
    values, design = one_part(COAL)
    (found,) = precisions(values[:, None], design)
    # Published: m = 0.690, s_r = 0.015, s_R = 0.026.
    assert found.mean == pytest.approx(0.690, abs=5e-4)
    assert found.repeatability.value == pytest.approx(0.015, abs=5e-4)
    assert found.reproducibility.value == pytest.approx(0.026, abs=5e-4)
    assert found.repeatability.degrees == len(values) - len(COAL)
    # The same by the formulas of the standard: n̄ = (N - Σn²/N)/(p - 1), s_L² = (s_d² - s_r²)/n̄.
    n, means = np.array([len(g) for g in COAL]), np.array([np.mean(g) for g in COAL])
    within = sum((len(g) - 1) * np.var(g, ddof=1) for g in COAL) / (n.sum() - len(n))
    between = (n * (means - values.mean()) ** 2).sum() / (len(n) - 1)
    size = (n.sum() - (n**2).sum() / n.sum()) / (len(n) - 1)
    assert found.components[REPEAT] == pytest.approx(within)
    assert found.components[OPERATOR] == pytest.approx((between - within) / size)


def test_a_balanced_example():
    # Own example by hand: s_r = 0.1, s_L = 0.2, s_R = 0.223607, r = 0.28, R = 0.626099.
    data = [[10.1, 10.3, 10.2], [10.6, 10.4, 10.5], [9.9, 10.1, 10.0], [10.2, 10.4, 10.3]]
    values, design = one_part(data)
    (found,) = precisions(values[:, None], design)
    assert found.repeatability.value == pytest.approx(0.1)
    assert np.sqrt(found.components[OPERATOR]) == pytest.approx(0.2)
    assert found.reproducibility.value == pytest.approx(0.223607, abs=1e-6)
    assert (found.repeatability.limit, found.reproducibility.limit) == pytest.approx(
        (0.28, 0.626099), abs=1e-6
    )
    ((name, level),) = levels(values, design)
    assert (name, level.components, level.repeatability) == ("part", found.components, found.repeatability)
    # The interval of s_r is that of the chi-square distribution with 8 degrees of freedom.
    low, high = 0.1 * np.sqrt(8.0 / stats.chi2.ppf([0.975, 0.025], 8))
    assert (found.repeatability.low, found.repeatability.high) == pytest.approx((low, high))


def crossed(parts=5, operators=3, repeats=2, seed=0):
    part, operator, _ = (x.ravel() for x in np.indices((parts, operators, repeats)))
    rng = np.random.default_rng(seed)
    values = 5.0 + rng.normal(0, 1.0, parts)[part] + rng.normal(0, 0.5, operators)[operator]
    values += rng.normal(0, 0.3, (parts, operators))[part, operator] + rng.normal(0, 0.2, len(part))
    return values, part, operator


def test_a_balanced_crossed_design_against_the_classical_mean_squares():
    values, part, operator = crossed()
    found = variance_components(values[:, None], part, operator)
    y = values.reshape(5, 3, 2)
    grand, a, b, cell = y.mean(), y.mean((1, 2)), y.mean((0, 2)), y.mean(2)
    # Montgomery, Design and Analysis of Experiments, two-factor random model (from memory).
    ms_part = 6 * ((a - grand) ** 2).sum() / 4
    ms_operator = 10 * ((b - grand) ** 2).sum() / 2
    ms_both = 2 * ((cell - a[:, None] - b + grand) ** 2).sum() / 8
    ms_repeat = ((y - cell[..., None]) ** 2).sum() / 15
    assert found.sources == (PART, OPERATOR, INTERACTION, REPEAT)
    assert found.balanced
    np.testing.assert_allclose(found.degrees[:, 0], [4, 2, 8, 15])
    np.testing.assert_allclose(
        found.squares[:, 0] / found.degrees[:, 0], [ms_part, ms_operator, ms_both, ms_repeat]
    )
    wanted = [(ms_part - ms_both) / 6, (ms_operator - ms_both) / 10, (ms_both - ms_repeat) / 2, ms_repeat]
    np.testing.assert_allclose(found.variance[:, 0], wanted)


def test_unbalanced_components_are_unbiased():
    # True variances 1, 0.25, 0.09, 0.04; a quarter of the cells has lost its repeats or is empty.
    rng = np.random.default_rng(1)
    _, part, operator = crossed(8, 4, 3)
    keep = rng.random(len(part)) < 0.7
    part, operator = part[keep], operator[keep]
    draws = 4000
    values = rng.normal(0, 1.0, (8, draws))[part] + rng.normal(0, 0.5, (4, draws))[operator]
    values += rng.normal(0, 0.3, (8, 4, draws))[part, operator] + rng.normal(0, 0.2, (len(part), draws))
    found = variance_components(values, part, operator)
    assert not found.balanced
    # Means of 4000 draws are known to 4 % of these variances, that of operators with 3 degrees of freedom.
    np.testing.assert_allclose(found.variance.mean(axis=1), [1.0, 0.25, 0.09, 0.04], rtol=0.08)


def test_missing_values_are_like_missing_rows():
    values, part, operator = crossed(seed=2)
    left = np.arange(len(values)) % 7 != 3
    gaps = np.where(left, values, np.nan)
    both = variance_components(np.column_stack([values, gaps]), part, operator)
    alone = variance_components(values[left, None], part[left], operator[left])
    np.testing.assert_allclose(both.variance[:, 1], alone.variance[:, 0])
    np.testing.assert_allclose(
        both.variance[:, 0], variance_components(values[:, None], part, operator).variance[:, 0]
    )


def test_a_negative_component_counts_as_zero():
    # Repeats differ, means of operators do not: the variance of operators is -s_r²/n.
    values, design = one_part([(1.0, 3.0), (3.0, 1.0), (2.0, 2.0)])
    (found,) = precisions(values[:, None], design)
    assert found.components[OPERATOR] == pytest.approx(-found.components[REPEAT] / 2)
    assert found.reproducibility.value == pytest.approx(found.repeatability.value)


def test_what_cannot_be_told_apart_is_not():
    n = np.arange(6)
    values = np.random.default_rng(3).normal(size=(6, 1))
    # One scan of each part, operators of other parts, all the same, one scan alone.
    assert variance_components(values, n, n * 0).sources == (REPEAT,)
    assert variance_components(values, n // 2, n // 3).sources[-1] == REPEAT
    assert OPERATOR not in variance_components(values, n // 2, n // 4 * 0 + (n // 2 > 1)).sources
    (same,) = precisions(np.ones((6, 1)), ScanDesign(("a", "b"), ("",), n // 3, n * 0))
    assert (same.repeatability.value, same.parts.value) == (0.0, 0.0)
    (once,) = precisions(values, ScanDesign(tuple("abcdef"), ("",), n, n * 0))
    assert np.isnan(once.repeatability.value)
    assert once.parts.value == pytest.approx(values.std(ddof=1))
    (none,) = precisions(np.full((6, 1), np.nan), ScanDesign(("a", "b"), ("",), n // 3, n * 0))
    assert none.number == 0
    assert np.isnan(none.repeatability.value)


# ISO 5725-2:1994, tables 4 to 7 (from memory).
def test_critical_values_are_those_of_the_tables_of_the_standard():
    assert cochran_critical(0.05, 8, 2) == pytest.approx(0.680, abs=5e-4)
    assert cochran_critical(0.01, 8, 2) == pytest.approx(0.794, abs=6e-4)
    assert cochran_critical(0.05, 8, 3) == pytest.approx(0.516, abs=5e-4)
    for groups, five, one in ((4, 1.481, 1.496), (8, 2.126, 2.274), (10, 2.290, 2.482)):
        assert grubbs_critical(0.05, groups) == pytest.approx(five, abs=1e-3)
        assert grubbs_critical(0.01, groups) == pytest.approx(one, abs=1e-3)
    for groups, five, one in ((8, 0.1101, 0.0563), (10, 0.1864, 0.1150)):
        assert grubbs_pair_critical(groups) == pytest.approx((five, one), rel=0.03)
    assert mandel_critical(0.05, 8, 2)[0] == pytest.approx(1.75, abs=5e-3)
    assert mandel_critical(0.01, 8, 2) == pytest.approx((2.06, 2.25), abs=7e-3)
    # Table 6 from memory. Of three groups the largest possible h is 2/√3 = 1.1547.
    for groups, five, one in ((3, 1.15, 1.15), (4, 1.42, 1.49)):
        assert mandel_critical(0.05, groups, 2)[0] == pytest.approx(five, abs=5e-3)
        assert mandel_critical(0.01, groups, 2)[0] == pytest.approx(one, abs=5e-3)


def test_no_mean_of_three_is_an_outlier_because_the_others_agree():
    names, agreeing = ["a", "b", "c"], [np.zeros(1), np.zeros(1), np.ones(1)]
    found = {t.test: t for t in consistency(names, agreeing) if t.group == "c"}
    assert found["Mandel's h"].statistic == pytest.approx(2.0 / np.sqrt(3.0))
    assert found["Mandel's h"].shown == ("1.15", "1.15", "1.15")
    assert {t.verdict for t in consistency(names, agreeing)} == {""}
    # With four groups the largest h, 3/2, is beyond the critical values.
    four = [*agreeing[:2], np.full(1, 1e-3), np.ones(1)]
    verdicts = {t.test: t.verdict for t in consistency([*names, "d"], four) if t.group == "d"}
    assert verdicts["Grubbs' test"] == verdicts["Mandel's h"] == "outlier"


def test_an_outlying_laboratory_is_found_by_mean_or_by_scatter():
    rng = np.random.default_rng(4)
    groups = [rng.normal(0.0, 0.1, 4) for _ in range(8)]
    names = [f"lab {i}" for i in range(8)]
    assert not any(test.verdict == "outlier" for test in consistency(names, groups))
    far = [g + 2.0 * (i == 5) for i, g in enumerate(groups)]
    wild = [g * (1.0 + 20.0 * (i == 2)) for i, g in enumerate(groups)]
    found = {(t.test, t.group) for t in consistency(names, far) if t.verdict == "outlier"}
    assert found == {("Grubbs' test", "lab 5"), ("Mandel's h", "lab 5")}
    found = {(t.test, t.group) for t in consistency(names, wild) if t.verdict == "outlier"}
    assert {("Cochran's test", "lab 2"), ("Mandel's k", "lab 2")} <= found
    pair = [g + 2.0 * (i in (3, 6)) for i, g in enumerate(groups)]
    found = {t.test: t.group for t in consistency(names, pair) if t.verdict == "outlier"}
    assert sorted(found["Grubbs' test for two"].split(" and ")) == ["lab 3", "lab 6"]


def test_agreement_of_the_flow_meters():
    columns = [np.array(x, dtype=float)[:, None] for x in (LARGE, MINI)]
    found = agreement(*columns)
    assert found.bias == pytest.approx(-2.117647, abs=1e-6)
    assert found.spread == pytest.approx(38.765130, abs=1e-6)
    # Computed from the data; the paper rounds 1.96 to 2.
    assert found.limits == pytest.approx((-78.0973, 73.8620), abs=1e-4)
    assert found.bias_error == pytest.approx(9.4019, abs=1e-4)
    assert found.limit_error == pytest.approx(np.sqrt(3.0 * found.spread**2 / 17), rel=0.01)
    t = stats.t.ppf(0.975, 16)
    assert found.bias_range == pytest.approx((found.bias - t * 9.4019, found.bias + t * 9.4019), abs=1e-3)


def test_agreement_with_repeats_is_that_of_single_measurements():
    large, mini = (np.array(x, dtype=float).T for x in ((LARGE, LARGE_AGAIN), (MINI, MINI_AGAIN)))
    found = agreement(large, mini)
    # Bland and Altman 1986: the corrected standard deviation of the differences is 37.7 l/min (from memory).
    assert found.spread == pytest.approx(37.7, abs=0.05)
    assert found.within == pytest.approx((15.3067, 19.9108), abs=1e-4)
    assert found.coefficients == pytest.approx(1.96 * np.sqrt(2.0) * np.array([15.3067, 19.9108]), abs=1e-3)


def test_confidence_intervals_of_limits_cover():
    # Of 1000 studies of 20 subjects with two repeats, 95 % of the intervals hold the true limit.
    rng, hits = np.random.default_rng(5), 0
    true = 1.96 * np.sqrt(1.0 + 0.3**2 + 0.5**2)
    for _ in range(1000):
        person, shift = rng.normal(0, 5, (20, 1)), rng.normal(0, 1.0, (20, 1))
        first = person + shift + rng.normal(0, 0.3, (20, 2))
        found = agreement(first, person + rng.normal(0, 0.5, (20, 2)))
        hits += found.limit_ranges[1][0] <= true <= found.limit_ranges[1][1]
    assert hits / 1000 == pytest.approx(0.95, abs=0.025)


def test_too_few_subjects_or_no_scatter():
    assert agreement([np.ones(1)] * 2, [np.ones(1)] * 2) is None
    same = agreement([np.ones(1)] * 5, [np.ones(1)] * 5)
    assert (same.bias, same.spread, same.limit_error) == (0.0, 0.0, 0.0)


# Rosner 1983, 54 measurements with three outliers, as in the NIST/SEMATECH handbook, 1.3.5.17.3 (from memory;
# its published statistics and critical values below confirm the list).
ROSNER = (
    -0.25, 0.68, 0.94, 1.15, 1.20, 1.26, 1.26, 1.34, 1.38, 1.43, 1.49, 1.49, 1.55, 1.56,
    1.58, 1.65, 1.69, 1.70, 1.76, 1.77, 1.81, 1.91, 1.94, 1.96, 1.99, 2.06, 2.09, 2.10,
    2.14, 2.15, 2.23, 2.24, 2.26, 2.35, 2.37, 2.40, 2.47, 2.54, 2.62, 2.64, 2.90, 2.92,
    2.92, 2.93, 3.21, 3.26, 3.30, 3.59, 3.68, 4.30, 4.64, 5.34, 5.42, 6.01,
)  # fmt: skip


def test_the_published_example_of_several_outliers():
    found = generalised_esd(np.array(ROSNER), level=0.05, most=10)
    assert [s.statistic for s in found] == pytest.approx(
        [3.118, 2.942, 3.179, 2.810, 2.815, 2.848, 2.279, 2.310, 2.101, 2.067], abs=1e-3
    )
    assert [s.critical for s in found] == pytest.approx(
        [3.158, 3.151, 3.143, 3.136, 3.128, 3.120, 3.111, 3.103, 3.094, 3.085], abs=1e-3
    )
    assert [s.row for s in found if s.beyond] == [53, 52, 51]


def test_with_one_number_wilks_test_is_that_of_the_extreme_deviate():
    # n/(n-1)² times the squared deviate is one minus Wilks' ratio; both tests use Bonferroni's inequality.
    values = np.array(ROSNER)
    one, other = generalised_esd(values, level=0.05, most=3), wilks_test(values[:, None], level=0.05, most=3)
    n = len(values) - np.arange(3)
    assert [s.row for s in one] == [s.row for s in other]
    for key in ("statistic", "critical"):
        deviate, ratio = (np.array([getattr(s, key) for s in steps]) for steps in (one, other))
        np.testing.assert_allclose(1.0 - n / (n - 1.0) ** 2 * deviate**2, ratio, rtol=1e-9)


def test_wilks_test_keeps_its_level_and_finds_two_outliers_together():
    rng = np.random.default_rng(6)
    hits = sum(wilks_test(rng.normal(size=(15, 3)), level=0.05, most=1)[0].beyond for _ in range(1000))
    assert hits / 1000 == pytest.approx(0.05, abs=0.02)
    found = []
    for _ in range(200):
        scores = rng.normal(size=(15, 2))
        scores[[3, 9]] = [[9.0, 9.0], [9.5, 8.5]]
        found.append(sorted(s.row for s in wilks_test(scores, level=0.05, most=3) if s.beyond))
    # Two that hide behind each other; the step after them takes one more in 5 % of the cases.
    assert sum({3, 9} <= set(rows) for rows in found) >= 180
    assert found.count([3, 9]) >= 160
