# SPDX-License-Identifier: MIT
"""Points of studies: grids against itertools, samples against the closed forms of their distributions."""

import itertools
import math

import numpy as np
import pytest
from scipy import stats
from scipy.stats import qmc

from annelid.cases.studies.design import make_design
from annelid.cases.studies.schema import Study
from annelid.cases.studies.search_space import search_space
from annelid.cases.studies.values import to_internal
from annelid.geometry.errors import InputError


def design(*vary, **keys):
    return make_design(Study.model_validate({"title": "x", "case": "cuff", "vary": list(vary), **keys}))


def column(found, name):
    return np.array([to_internal(point[name]) for point in found.points])


def test_lists_and_ranges_make_a_full_grid():
    found = design(
        {"key": "a.law", "values": ["gent", "yeoh"]},
        {"key": "a.x", "from": "1 mm", "to": "2 mm", "step": "250 um"},
        {"key": "a.n", "from": 1, "to": 3, "count": 3},
    )
    points = [(point["law"], to_internal(point["x"]), point["n"]) for point in found.points]
    assert points == list(itertools.product(["gent", "yeoh"], [1.0, 1.25, 1.5, 1.75, 2.0], [1, 2, 3]))
    assert all(isinstance(point["n"], int) for point in found.points)
    assert [variable.unit for variable in found.variables] == [None, "mm", "1"]


def test_ranges_end_exactly_and_may_decrease():
    assert list(column(design({"key": "x", "from": 0.1, "to": 0.7, "step": 0.2}), "x")) == [
        0.1,
        0.3,
        0.5,
        0.7,
    ]
    assert list(column(design({"key": "x", "from": "3 kV", "to": "1 kV", "step": "-1 kV"}), "x")) == [3, 2, 1]


def test_logarithmic_spacing_has_a_constant_ratio():
    x = column(
        design({"key": "x", "from": "1 kPa", "to": "1 MPa", "count": 7, "spacing": "logarithmic"}), "x"
    )
    assert x[1:] / x[:-1] == pytest.approx(10**0.5, rel=1e-9)


def test_paired_lists_vary_together():
    found = design(
        {"key": "x", "values": [1, 2, 3], "pair": "size"},
        {"key": "z", "values": [7, 8]},
        {"key": "y", "values": [4, 5, 6], "pair": "size"},
    )
    points = [(point["x"], point["y"], point["z"]) for point in found.points]
    assert points == [(1, 4, 7), (1, 4, 8), (2, 5, 7), (2, 5, 8), (3, 6, 7), (3, 6, 8)]


UNIFORM = {"key": "u", "from": "2 mm", "to": "4 mm"}
NORMAL = {"key": "n", "distribution": "normal", "mean": "0.4 MPa", "deviation": "5 %"}
LOGNORMAL = {"key": "l", "distribution": "lognormal", "mean": "100 um", "deviation": "30 um"}


@pytest.mark.exact
@pytest.mark.parametrize("method", ["random", "latin hypercube", "sobol"])
def test_samples_have_the_given_distribution(method):
    found = design(UNIFORM, NORMAL, LOGNORMAL, sampling={"method": method, "samples": 512, "seed": 1})
    assert found.samples == len(found.points) == 512
    sigma = math.sqrt(math.log(1 + 0.3**2))  # of the logarithm, from mean and deviation of the value
    expected = {
        "u": stats.uniform(2, 2),
        "n": stats.norm(0.4, 0.02),
        "l": stats.lognorm(sigma, scale=0.1 * math.exp(-(sigma**2) / 2)),
    }
    for name, distribution in expected.items():
        values = column(found, name)
        # Kolmogorov's 1 % limit for 512 independent draws is 0.072; even sequences are much closer.
        limit = 0.072 if method == "random" else 0.005
        assert stats.kstest(values, distribution.cdf).statistic < limit
        assert values.mean() == pytest.approx(distribution.mean(), rel=0.03)
        assert values.std() == pytest.approx(distribution.std(), rel=0.08)


def test_a_latin_hypercube_has_one_sample_in_each_slice():
    found = design(
        UNIFORM, {"key": "v", "from": 0, "to": 1}, sampling={"method": "latin hypercube", "samples": 37}
    )
    for values in ((column(found, "u") - 2) / 2, column(found, "v")):
        assert sorted(np.floor(values * 37)) == list(range(37))


def test_a_sobol_sequence_is_more_even_than_chance():
    def discrepancy(method):
        keys = [{"key": f"x{i}", "from": 0, "to": 1} for i in range(3)]
        found = design(*keys, sampling={"method": method, "samples": 256, "seed": 3})
        return qmc.discrepancy(np.column_stack([column(found, f"x{i}") for i in range(3)]))

    assert discrepancy("sobol") < discrepancy("latin hypercube") < discrepancy("random")


def test_the_same_seed_draws_the_same_samples():
    def draw(seed):
        return design(UNIFORM, NORMAL, sampling={"method": "random", "samples": 5, "seed": seed}).points

    assert draw(1) == draw(1)
    assert draw(1) != draw(2)


@pytest.mark.exact
def test_truncated_distribution_keeps_its_shape():
    found = design(
        NORMAL | {"at_least": "0.39 MPa", "at_most": "0.42 MPa"}, sampling={"method": "sobol", "samples": 512}
    )
    cut = stats.truncnorm(-0.5, 1, loc=0.4, scale=0.02)
    values = column(found, "n")
    assert 0.39 <= values.min() < values.max() <= 0.42
    assert stats.kstest(values, cut.cdf).statistic < 0.005


@pytest.mark.parametrize("deviation", ["9" * 400 + " %", "few %"])
def test_a_deviation_in_per_cent_must_be_a_number(deviation):
    with pytest.raises(InputError, match=r"\[n\]\.deviation: .* is not a (finite )?number"):
        design(NORMAL | {"deviation": deviation}, sampling={"method": "sobol", "samples": 2})


def test_a_deviation_in_per_cent_is_relative_to_the_mean():
    found = design(
        {"key": "s", "distribution": "normal", "mean": 0.8, "deviation": "2 %"},
        sampling={"method": "sobol", "samples": 256},
    )
    assert column(found, "s").std() == pytest.approx(0.016, rel=0.02)


def test_samples_for_sobol_indices_mix_two_draws():
    found = design(
        UNIFORM, {"key": "v", "from": 0, "to": 1}, sampling={"method": "sensitivity", "samples": 8}
    )
    u, v = column(found, "u"), column(found, "v")
    assert found.samples == len(found.points) == 8 * 4
    assert np.array_equal(u[16:24], u[8:16])
    assert np.array_equal(v[16:24], v[:8])
    assert np.array_equal(u[24:], u[:8])
    assert np.array_equal(v[24:], v[8:16])


def test_lists_are_combined_with_every_sample():
    found = design({"key": "k", "values": [1, 2]}, UNIFORM, sampling={"method": "random", "samples": 3})
    assert [point["k"] for point in found.points] == [1, 1, 1, 2, 2, 2]
    assert list(column(found, "u")[:3]) == list(column(found, "u")[3:])


@pytest.mark.parametrize(
    ("vary", "keys", "message"),
    [
        ([{"key": "x"}], {}, "does not vary"),
        ([{"values": [1]}], {}, "neither a key nor a name"),
        ([{"key": "x", "values": [1], "from": 1}], {}, "several ways"),
        ([{"key": "x", "values": [1], "count": 2}], {}, "several ways"),
        ([{"key": "x", "from": 1, "to": 2, "count": 2, "step": 1}], {}, "both a step and a count"),
        ([{"key": "x", "from": 1, "step": 1}], {}, "both from and to"),
        ([{"key": "x", "from": 1, "to": 2, "step": -1}], {}, "does not lead"),
        ([{"key": "x", "from": 1, "to": 2, "step": 0}], {}, "does not lead"),
        ([{"key": "x", "from": 0, "to": 1, "step": 1e-9}], {}, "use a larger step"),
        ([{"key": "x", "from": 0, "to": 1e308, "step": 0.1}], {}, "makes inf values"),
        ([{"key": "x", "from": "1 mm", "to": "2 kV", "step": "1 mm"}], {}, "units of one kind"),
        ([{"key": "x", "values": ["1 mm", "1 kV"]}], {}, "units of one kind"),
        ([{"key": "x", "from": "red", "to": "blue", "count": 2}], {}, "not a number"),
        ([{"key": "x", "from": 0, "to": 1, "count": 2, "spacing": "logarithmic"}], {}, "above zero"),
        ([{"key": "a.x", "values": [1]}, {"key": "b.x", "values": [1]}], {}, "two variables"),
        (
            [{"key": "x", "values": [1, 2], "pair": "p"}, {"key": "y", "values": [1], "pair": "p"}],
            {},
            "same length",
        ),
        ([UNIFORM], {}, "sampling: is missing"),
        (
            [{"key": "x", "values": [1]}],
            {"sampling": {"method": "random", "samples": 2}},
            "no variable has a distribution",
        ),
        ([UNIFORM], {"sampling": {"method": "sobol", "samples": 100}}, "such as 128"),
        (
            [UNIFORM, {"key": "k", "values": [1]}],
            {"sampling": {"method": "sensitivity", "samples": 8}},
            "remove the lists",
        ),
        ([NORMAL | {"from": "1 MPa"}], {"sampling": {"method": "random", "samples": 2}}, "has no from"),
        ([NORMAL | {"deviation": "0 %"}], {"sampling": {"method": "random", "samples": 2}}, "above zero"),
        ([NORMAL | {"at_least": "1 MPa"}], {"sampling": {"method": "random", "samples": 2}}, "between"),
        ([LOGNORMAL | {"mean": "0 um"}], {"sampling": {"method": "random", "samples": 2}}, "above zero"),
        ([UNIFORM | {"to": "1 mm"}], {"sampling": {"method": "random", "samples": 2}}, "below"),
        ([UNIFORM | {"pair": "p"}], {"sampling": {"method": "random", "samples": 2}}, "cannot be paired"),
        ([{"key": f"x{i}", "from": 1, "to": 100, "count": 100} for i in range(3)], {}, "makes 1000000 runs"),
    ],
)
def test_invalid_variables_are_refused(vary, keys, message):
    with pytest.raises(InputError, match=message):
        design(*vary, **keys)


def test_tolerances_need_parts_that_differ():
    grid = {"key": "x", "values": ["1 mm", "2 mm"]}
    with pytest.raises(InputError, match="tolerance: is true, but no variable has a distribution"):
        design(grid, tolerance=True)
    sampling = {"method": "random", "samples": 3}
    assert len(design(grid, UNIFORM, tolerance=True, sampling=sampling).points) == 6


def test_a_search_draws_no_parts():
    study = {"title": "x", "case": "cuff", "vary": [UNIFORM], "search": {"evaluations": 8}, "tolerance": True}
    with pytest.raises(InputError, match="tolerance: is true, but a search chooses its points"):
        search_space(Study.model_validate(study))
