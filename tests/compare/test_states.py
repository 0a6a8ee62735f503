# SPDX-License-Identifier: MIT
"""The state that a scan is compared with, on an invented run in closed form."""

import re
from dataclasses import replace

import numpy as np
import pytest
from comparison_parts import deviating_scan
from synthetic_parts import INNER, OUTER, inflated, meridian_tube
from synthetic_runs import OUTCOME, create

from annelid.compare.comparison.best_state import best_part
from annelid.compare.comparison.simulated_part import (
    ComparisonSettings,
    candidates,
    finished_run,
    simulated_part,
)
from annelid.compare.comparison.states import single_state, states_at
from annelid.compare.scans.point_cloud import PointCloud
from annelid.geometry.errors import InputError

STRETCHES = (1.0, 1.05, 1.1, 1.2)  # of the inner surface, in the states of the run


def outer_radius(stretch):
    return np.sqrt((stretch * INNER) ** 2 + OUTER**2 - INNER**2)


@pytest.fixture(scope="module")
def beyond_its_maximum(tmp_path_factory):
    """A run whose pressure falls again, because it is given so."""
    path, body = tmp_path_factory.mktemp("runs") / "maximum", meridian_tube(2, 6)
    with create(path, body) as made:
        for number, (stretch, pressure) in enumerate(((1.0, 0.0), (1.1, 0.02), (1.2, 0.03), (1.3, 0.01))):
            state = inflated(body, stretch, index=number, parameter=number / 3)
            loads = {**state.loads, "pressure": state.loads["pressure"]._replace(value=pressure)}
            made.append(replace(state, loads=loads))
        made.finish(OUTCOME, verdicts=(), facts={})
    return path


def pressure_of(run, state):
    table = finished_run(run).table
    return float(table["pressure"][table.row_of(state)])


@pytest.mark.exact
def test_a_state_with_the_given_loads_is_taken_as_it_is(run):
    settings = ComparisonSettings("mm", loads={"pressure": pressure_of(run, 2)})
    part = simulated_part(run, settings)
    assert part.choice.shares == {2: 1.0}
    assert (part.choice.remarks, part.choice.doubts) == ((), ())
    assert np.hypot(*part.surface.points.T[:2]).max() == pytest.approx(outer_radius(1.1))


@pytest.mark.exact
def test_between_two_states_the_displacement_is_interpolated_and_its_error_told(run):
    low, high = (pressure_of(run, state) for state in (2, 3))
    # The exact stretch at the pressure in the middle, from the closed form of the tube.
    wanted = 0.5 * (low + high)
    body, a, b = meridian_tube(2, 6), 1.1, 1.2
    for _ in range(40):
        middle = 0.5 * (a + b)
        below = inflated(body, middle).loads["pressure"].value < wanted
        a, b = (middle, b) if below else (a, middle)
    part = simulated_part(run, ComparisonSettings("mm", loads={"pressure": wanted}))
    assert part.choice.shares == pytest.approx({2: 0.5, 3: 0.5})
    radius = np.hypot(*part.surface.points.T[:2]).max()
    assert radius == pytest.approx(0.5 * (outer_radius(1.1) + outer_radius(1.2)))
    error = abs(radius - outer_radius(a))
    assert error > 1e-3  # there is something to report
    stated = float(part.choice.remarks[0].split("is about ")[1].split("\xa0")[0])
    unit = 1e-3 if "µm at most" in part.choice.remarks[0] else 1.0
    # That of the inner surface is the largest; it moves by r_outer / r_inner more than the outer one.
    assert unit * stated == pytest.approx(error * outer_radius(a) / (a * INNER), rel=0.5)


def test_loads_beyond_the_path_give_the_nearest_state_and_say_how_far_it_is(run):
    choice = single_state(finished_run(run), {"pressure": 2.0 * pressure_of(run, 3)})
    assert choice.shares == {3: 1.0}
    assert "No state of the run has the given loads" in choice.doubts[0]
    assert "away)" in choice.doubts[0]


def test_a_pressure_before_and_past_its_maximum_is_ambiguous(beyond_its_maximum):
    run = finished_run(beyond_its_maximum)
    found = states_at(run, {"pressure": 0.015})
    assert [sorted(choice.shares) for choice in found] == [[0, 1], [2, 3]]
    with pytest.raises(InputError, match=r"2 states of the run have these loads: state 0 to state 1 \(.*--s"):
        single_state(run, {"pressure": 0.015})
    # The voltage rises from 0 to 3 kV over the path.
    assert single_state(run, {"pressure": 0.015, "voltage": 2.625}).doubts
    several = candidates(run, ComparisonSettings("mm", state="best", loads={"pressure": 0.015}))
    assert len(several) == 2


def test_unknown_loads_and_contradictions_are_refused(run):
    with pytest.raises(InputError, match="the run has no voltage nowhere; its loads are pressure, voltage r"):
        single_state(finished_run(run), {"voltage nowhere": 1.0})
    with pytest.raises(InputError, match="gives the state 3, and loads are given, too"):
        ComparisonSettings("mm", state=3, loads={"pressure": 0.1})


def test_the_state_that_fits_best_is_found_and_said_to_be_a_fit(run):
    settings = ComparisonSettings("mm", state="best")
    record = finished_run(run)
    truth = simulated_part(run, ComparisonSettings("mm", state=2))
    points, *_ = deviating_scan(truth.surface, lambda z, θ: 0.0 * z, count=2000)
    scan = PointCloud(points, None, None, None)
    choice = best_part(record, candidates(record, settings), scan, settings).choice
    assert choice.shares == {2: 1.0}
    # The runner-up is state 1, whose outer surface is nearer than that of state 3; by so much is it off.
    off = outer_radius(1.1) - outer_radius(1.05)
    assert off < outer_radius(1.2) - outer_radius(1.1)
    said = re.search(r"The runner-up, state 1,.* has ([\d.]+)\xa0µm", choice.remarks[0])
    assert 1e-3 * float(said[1]) == pytest.approx(off, rel=0.02)
    assert "because it fits best" in choice.doubts[0]
    assert len(choice.doubts) == 1
