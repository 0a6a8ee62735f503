# SPDX-License-Identifier: MIT
"""Error bars from values on several meshes: published examples, known limits, known traps."""

import numpy as np
import pytest

from annelid.cases.verify.convergence import Trend, error_bar, grid_convergence

# Celik et al., J. Fluids Eng. 130, 078001 (2008), table 1, from memory: values from fine to coarse, r21, r32,
# then order, extrapolated value, and differences and index in per cent, to the digits printed.
PUBLISHED = (
    ((6.063, 5.972, 5.863), 1.5, 1.333, (1.53, 6.1685, 1.5, 2.2)),
    ((10.788, 10.725, 10.605), 2.0, 2.143, (0.75, 10.8801, 0.6, 1.1)),
    ((6.0042, 5.9624, 6.0909), 2.0, 2.143, (1.51, 6.0269, 0.7, 0.5)),
)


@pytest.mark.parametrize(("values", "r21", "r32", "printed"), PUBLISHED)
def test_the_published_table(values, r21, r32, printed):
    found = grid_convergence((r21 * r32, r21, 1.0), values[::-1])
    order, extrapolated, difference, index = printed
    assert found.order == pytest.approx(order, abs=0.0075)  # the inputs are rounded
    assert found.extrapolated == pytest.approx(extrapolated, abs=4e-4)
    assert 100 * found.difference == pytest.approx(difference, abs=0.05)
    assert 100 * found.index == pytest.approx(index, abs=0.051)


def test_only_the_last_row_of_the_table_is_not_regular():
    patterns = [error_bar((a * b, a, 1.0), v[::-1]).pattern for v, a, b, _ in PUBLISHED]
    assert patterns == [Trend.REGULAR, Trend.REGULAR, Trend.OSCILLATING]


# Lame's cylinder a = 1, b = 2, E = 1, ν = 0.3, P = 1 in plane strain (exact 1.9066667), linear elements, by
# their number; a neo-Hookean tube B/A = 2, la = 1.5 by the midpoint rule (exact 0.4282284091). Computed once.
SMOOTH = (
    ((4, 8, 16), (1.887624462, 1.901775789, 1.905435322), 1.9066666667),
    ((12, 16, 24), (1.904481621, 1.905435322, 1.906118682), 1.9066666667),
    ((22, 35, 50), (1.906014651, 1.906408858, 1.906540309), 1.9066666667),
    ((4, 8, 16), (0.4256516389, 0.4275799266, 0.4280660122), 0.4282284091),
    ((9, 12, 18), (0.4277157846, 0.4279398314, 0.4281000801), 0.4282284091),
)


@pytest.mark.parametrize(("counts", "values", "exact"), SMOOTH)
def test_smooth_problems_are_regular_and_of_second_order(counts, values, exact):
    bar = error_bar(tuple(1 / n for n in counts), values)
    assert bar.pattern is Trend.REGULAR
    assert bar.order == pytest.approx(2.0, abs=0.1)
    assert abs(exact - bar.finest) <= bar.half_width < 3.5 * abs(exact - bar.finest)
    assert abs(exact - values[0]) <= bar.around(values[0]) < 1.6 * abs(exact - values[0])
    assert abs(bar.extrapolated - exact) < 0.05 * abs(bar.finest - exact)


def test_an_order_that_is_seen_twice_narrows_the_bar():
    sizes = (8.0, 4.0, 2.0, 1.0)
    values = tuple(1 + 1e-3 * h**2 + 1e-6 * h**4 for h in sizes)
    four, three = error_bar(sizes, values), error_bar(sizes[1:], values[1:])
    assert four.confirmed
    assert not three.confirmed
    assert 1e-3 <= four.half_width < 0.5 * three.half_width


def test_alternating_errors_are_not_extrapolated():
    """f = 1 + 0.1 h² cos(π log2 h): the formulas give the order 2 and a value on the wrong side."""
    sizes = (1 / 2, 1 / 4, 1 / 8)
    values = (0.975, 1.00625, 0.9984375)
    assert grid_convergence(sizes, values).order == pytest.approx(2.0)
    assert grid_convergence(sizes, values).extrapolated == pytest.approx(0.99583333)
    bar = error_bar(sizes, values)
    assert bar.pattern is Trend.OSCILLATING
    assert np.isnan(bar.extrapolated)
    assert bar.half_width >= abs(1 - bar.finest)


def test_meshes_on_both_sides_of_an_extremum():
    """f = 1 + 0.2 h - 0.5 h²: the index alone is 0.002 where the error is 0.0148."""
    sizes = (0.4, 0.2, 0.1)
    values = tuple(1 + 0.2 * h - 0.5 * h**2 for h in sizes)
    assert grid_convergence(sizes, values).index == pytest.approx(0.00205, rel=0.01)
    bar = error_bar(sizes, values)
    assert bar.pattern is Trend.OSCILLATING
    assert bar.half_width >= 0.015


def test_a_diverging_triple_has_a_healthy_order_but_is_named():
    """Stress at a re-entrant corner, growing with the inverse square root of the element size."""
    sizes = (1.0, 0.5, 0.25)
    values = tuple(h**-0.5 for h in sizes)
    assert grid_convergence(sizes, values).order == pytest.approx(0.5)
    assert error_bar(sizes, values).pattern is Trend.DIVERGING


@pytest.mark.parametrize("counts", [(10, 20, 40), (16, 24, 36), (20, 30, 45), (10, 20, 40, 80)])
def test_kinked_problems_are_covered(counts):
    """Trapezoid rule of ∫|x - c| (exact c² - c + 1/2), whose index covers 58 to 69 % of the errors."""
    draws = np.random.default_rng(4).uniform(0.05, 0.95, 2000)
    covered = index_covers = 0
    for c in draws:
        values = []
        for n in counts:
            x = np.linspace(0, 1, n + 1)
            values.append(float(np.trapezoid(abs(x - c), x)))
        exact, sizes = c**2 - c + 0.5, tuple(1 / n for n in counts)
        bar = error_bar(sizes, tuple(values))
        covered += abs(values[0] - exact) <= bar.around(values[0])
        if len(counts) == 3 and len(set(values)) == 3:
            found = grid_convergence(sizes, tuple(values))
            index_covers += abs(values[-1] - exact) <= found.index * abs(values[-1])
    assert covered >= 0.95 * len(draws)
    assert index_covers < 0.75 * len(draws)


def test_rounding_is_no_pattern():
    bar = error_bar((4.0, 2.0, 1.0), (1.0, 1.0 + 3e-10, 1.0 - 4e-10), noise=1e-9)
    assert bar.pattern is Trend.ROUNDING
    assert bar.half_width == 1e-9


def test_two_values_that_are_equal_by_accident_are_not_exact():
    """f = 1 + h - h²/1.5 at h = 1, 0.5 crosses zero slope between the finest meshes."""
    sizes = (2.0, 1.0, 0.5)
    values = tuple(1 + h - h**2 / 1.5 for h in sizes)
    assert values[1] == pytest.approx(values[2])
    bar = error_bar(sizes, values, noise=1e-9)
    assert bar.pattern is not Trend.ROUNDING
    assert bar.around(values[0]) >= abs(values[0] - 1)


def test_two_meshes_have_an_assumed_order():
    bar = error_bar((2.0, 1.0), (1.04, 1.01))
    assert (bar.pattern, bar.order) == (Trend.TWO, 2.0)
    assert bar.half_width == pytest.approx(0.03)


def test_slow_values_have_a_wide_bar():
    sizes = (4.0, 2.0, 1.0)
    values = tuple(1 + h**0.3 for h in sizes)
    bar = error_bar(sizes, values)
    assert bar.pattern is Trend.SLOW
    assert bar.half_width >= 1.0 * abs(values[-1] - 1) * 0.9
