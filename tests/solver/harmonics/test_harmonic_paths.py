# SPDX-License-Identifier: MIT
"""Paths that are judged against waves around the axis: where they end, what they report, and what it costs.

Exact suctions of the first lobes as in ``test_tubes_by_lobes``, Euler's load as in ``test_columns``.
"""

from dataclasses import replace

import dolfinx_solver  # noqa: F401  (orders MPI ahead of the bindings)

import numpy as np
import pytest
from models import SLIDING, neo_hookean, tube_body, tube_model
from scipy.optimize import brentq

from annelid.solver.continuation.path import Path
from annelid.solver.energy import form_libraries
from annelid.solver.model.boundary import Support
from annelid.solver.model.harmonic_words import harmonic_words, waves_of
from annelid.solver.model.stages import Stage
from annelid.solver.model.stepping import Stepping

OVAL, THREE = harmonic_words(2), harmonic_words(3)
TWO_LOBES, THREE_LOBES = 0.0688764, 0.215462  # P/μ of B/A = 1.5 in plane strain
TOLERANCE = 2e-3
SUCK = Stage("suck", pressure=-0.3, steps=6)
STOP = Stepping(harmonics="stage ends")
GO_ON = replace(STOP, beyond_instability="follow")


def ring():
    """One element long, which is plane strain."""
    return tube_model(tube_body(1.5, 0.125, along=0.125, through=4), neo_hookean())


def followed(model, stages, stepping):
    states = []
    outcome = Path(model, stages, stepping=stepping).follow(observe=states.append)
    assert [state.index for state in states] == list(range(len(states)))
    return outcome, states


@pytest.mark.exact
@pytest.mark.parametrize("which", ["stage ends", "all"])
def test_a_path_ends_where_the_part_goes_oval(which):
    outcome, states = followed(ring(), [SUCK], replace(STOP, harmonics=which))
    *before, last = states
    assert outcome.kind == "lost stability"
    assert OVAL in outcome.text
    assert last.critical == OVAL
    assert last.loads["pressure"].value == pytest.approx(-TWO_LOBES, rel=TOLERANCE)
    assert outcome.parameter == last.parameter == pytest.approx(TWO_LOBES / 0.3, rel=TOLERANCE)
    assert [state.loads["pressure"].value for state in before] == pytest.approx([0.0, -0.05])
    assert not any(state.critical or state.unstable_modes for state in before)
    a, b, c = last.mode[np.abs(ring().body.points[:, 0] - 1.25) < 1e-6].T
    assert len(a)
    assert b / a == pytest.approx(-0.5, abs=0.05)  # its middle bends without a change of its length around
    assert c == pytest.approx(0.0, abs=1e-6)
    (margin,) = outcome.margins
    assert (margin.kind, margin.value) == (OVAL, pytest.approx(TWO_LOBES / 0.3, rel=TOLERANCE))


@pytest.mark.exact
def test_a_path_goes_on_and_finds_the_next_lobes():
    outcome, states = followed(ring(), [SUCK], GO_ON)
    assert outcome.kind == "reached"
    critical = {state.critical: -state.loads["pressure"].value for state in states if state.critical}
    assert critical == pytest.approx({OVAL: TWO_LOBES, THREE: THREE_LOBES}, rel=TOLERANCE)
    assert list(critical) == [OVAL, THREE]
    pressures = [-state.loads["pressure"].value for state in states]
    assert pressures == sorted(pressures)
    modes = [int(p > TWO_LOBES * 1.01) + int(p > THREE_LOBES * 1.01) for p in pressures]
    assert [state.unstable_modes for state in states] == modes
    assert [state.quantities["unstable modes"].value for state in states] == modes


@pytest.mark.exact
def test_margins_to_the_first_lobes():
    working = Stage("work", pressure=-0.05, steps=2)
    outcome, states = followed(ring(), [working], replace(STOP, seek_limit=3.0))
    assert (outcome.kind, len(states)) == ("reached", 3)
    (margin,) = outcome.margins
    assert margin.kind == OVAL
    assert margin.value == pytest.approx(TWO_LOBES / 0.05, rel=TOLERANCE)
    assert margin.limits[-1].kind == OVAL
    assert all(limit.value <= margin.value for limit in margin.limits)
    near, _ = followed(ring(), [working], replace(STOP, seek_limit=1.3))
    assert (near.margins[0].kind, near.margins[0].value) == ("", 1.3)


@pytest.mark.exact
def test_a_slender_column_bends_sideways():
    """B/A = 1.5, L/B = 40, at Euler's load."""
    B, length = 1.5, 60.0
    inertia, area = np.pi / 4 * (B**4 - 1), np.pi * (B**2 - 1)
    euler = 3 * np.pi**2 * inertia / length**2
    strain = brentq(lambda e: ((1 - e) ** -2 - (1 - e)) * area - euler, 0.0, 0.1)
    model = tube_model(tube_body(B, length, along=1.5, through=1), neo_hookean())
    press = Stage("press", displacements={"end_high": -3 * strain * length}, steps=2)
    outcome, states = followed(model, [press], STOP)
    assert states[-1].critical == "bends sideways"
    assert -states[-1].loads["displacement end_high"].value == pytest.approx(strain * length, rel=5e-3)
    assert outcome.text.startswith("lost stability: bends sideways at ")


def test_critical_points_of_the_axisymmetric_path_keep_their_numbers():
    """A short tube filled past its pressure maximum: bulges are found beside bending, each once."""
    body = tube_body(1.5, 7.5, along=0.75, through=1)
    model = tube_model(body, neo_hookean())
    fill = Stage("fill", control="volume", volume=4.5 * np.pi * 7.5, steps=12)
    plain, judged = (
        followed(model, [fill], Stepping(beyond_instability="follow", harmonics=which))[1]
        for which in ("none", "all")
    )
    found = [(state.critical, state.loads["pressure"].value) for state in plain if state.critical]
    again = [(state.critical, state.loads["pressure"].value) for state in judged if state.critical]
    assert found
    assert [point for point in again if not waves_of(point[0])] == found
    assert ("bends sideways", pytest.approx(0.344345, rel=0.01)) in again


def test_a_path_that_is_not_judged_compiles_no_harmonics():
    model, stages = ring(), [Stage("suck", pressure=-0.1, steps=1)]
    followed(model, stages, Stepping())
    before = form_libraries.compiled_libraries()
    path = Path(model, stages, stepping=Stepping())
    assert path.follow().remarks == ()
    assert path.watch._harmonics is None
    assert form_libraries.compiled_libraries() == before


def test_why_a_path_is_not_judged_is_said():
    held = (Support("outer", "symmetric"), *SLIDING)
    model = tube_model(tube_body(1.5, 0.125, along=0.125, through=4), neo_hookean(), held)
    outcome, _ = followed(model, [Stage("suck", pressure=-0.01, steps=1)], STOP)
    assert any("was not judged: hold = 'symmetric' of 'outer'" in remark for remark in outcome.remarks)


@pytest.mark.parametrize("m", [1, 2, 3, 7, 8, 31])
def test_words_tell_the_number_of_waves(m):
    assert waves_of(harmonic_words(m)) == m
    assert waves_of("limit point") == waves_of("bifurcation") == waves_of("") == 0
