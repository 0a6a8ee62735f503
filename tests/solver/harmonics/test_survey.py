# SPDX-License-Identifier: MIT
"""All harmonics of a state from few factorisations: every one is judged, and the counts are the inertia."""

import math

import dolfinx_solver  # noqa: F401  (orders MPI ahead of the bindings)

import numpy as np
import pytest
from counting import Judged
from models import SLIDING, neo_hookean, tube_body, tube_model

from annelid.solver.errors import NoEquilibrium
from annelid.solver.harmonics.survey import Survey


class Counts:
    """Counts that are known, and which of them are asked for."""

    def __init__(self, unstable, reach=0.6):
        self.known, self.reach, self.asked, self.covered = unstable, reach, [], set()

    def count(self, m):
        assert m not in self.asked
        self.asked.append(m)
        self.covered.add(m)
        return self.known.get(m, 0)

    def count_around(self, m):
        """Half of the distance to the next unstable harmonic, or a share of m."""
        count = self.count(m)
        if count:
            return count, 0.0
        reach = min(self.reach * m, *(abs(m - n) / 2 for n in self.known), math.inf)
        self.covered.update(range(math.ceil(m - reach), math.floor(m + reach) + 1))
        return 0, reach

    def survey(self, last, **options):
        survey = Survey(self.count, self.count_around)
        survey.judge(last, **{"first_only": False, **options})
        return survey


@pytest.mark.parametrize("last", [1, 2, 4, 5, 11, 48, 67, 423])
@pytest.mark.parametrize("band", [(), (1,), (2, 3), range(11, 29), (423,)])
def test_every_harmonic_is_judged(last, band):
    counts = Counts({m: 1 + m % 3 for m in band})
    assert counts.survey(last).unstable == {m: n for m, n in counts.known.items() if m <= last}
    assert set(range(1, last + 1)) <= counts.covered


def test_a_stable_state_takes_few_factorisations():
    counts = Counts({})
    assert counts.survey(423).unstable == {}
    assert len(counts.asked) < 10


def test_one_unstable_harmonic_is_enough():
    counts = Counts(dict.fromkeys(range(20, 200), 1))
    assert counts.survey(423, first_only=True).unstable
    assert len(counts.asked) < 20
    lone = Counts({37: 1})
    assert lone.survey(423, first_only=True).unstable == {37: 1}


def test_a_failed_factorisation_is_noted():
    def fail(m):
        raise NoEquilibrium("singular")

    survey = Survey(lambda m: 0, fail)
    survey.judge(9, first_only=False)
    assert survey.unstable == {}
    assert survey.failed


@pytest.mark.exact
def test_the_counts_of_a_tube_under_suction():
    """B/A = 1.5 in plane strain, past its two, three and four lobes at 0.0689, 0.215 and 0.479 μ."""
    judged = Judged(tube_model(tube_body(1.5, 0.125, along=0.125, through=4), neo_hookean(), SLIDING))
    for pressure, expected in ((0.03, {}), (0.3, {2: 1, 3: 1}), (0.6, {2: 1, 3: 1, 4: 1})):
        judged.at(pressure=-pressure, steps=4)
        survey = Survey(judged.harmonics.count, judged.harmonics.count_around)
        survey.judge(40, first_only=False)
        assert survey.unstable == expected
        assert [m for m in range(1, 41) if judged.count(m)] == list(expected)


@pytest.mark.exact
@pytest.mark.parametrize("pressure", [-0.03, -0.06])
def test_the_distance_to_the_next_singular_number(pressure):
    """The count is the same at real numbers of waves within it, also where no wave closes around the axis."""
    judged = Judged(tube_model(tube_body(1.5, 0.125, along=0.125, through=4), neo_hookean(), SLIDING))
    judged.at(pressure=pressure, steps=2)
    for m in (3, 5, 12):
        count, reach = judged.harmonics.count_around(m)
        assert count == 0
        assert 0.3 < reach < m
        for n in np.linspace(m - reach, m + reach, 9):
            assert judged.count(n) == 0
