# SPDX-License-Identifier: MIT
"""The first block of a report: what limits first, what is missed by how much, what would help."""

import math
import os
from dataclasses import replace
from functools import partial

import pytest
from synthetic_runs import CASE, OUTCOME, VERDICTS, create, states

from annelid.results.folder.run_record import open_run
from annelid.results.folder.run_records import Verdict
from annelid.results.report.first_limits import first_limit, limit_rows
from annelid.results.report.remedies import missed_texts, remedies
from annelid.solver.records import LimitAhead, Margin, Outcome

GAP = "\N{NO-BREAK SPACE}"
VOLTAGE = Margin(
    "voltage",
    1.5,
    "bifurcation",
    limits=(
        LimitAhead("electric breakdown", 1.25, "voltage ring 2.5 kV"),
        LimitAhead("bifurcation", 1.5, "voltage ring 3 kV"),
    ),
)
PRESSURE = Margin("pressure", 2.0, is_bound=True)
OTHER = Margin("force", math.nan, text="force: the state is unstable under given loads, so it has no margin")


def outcome(*margins):
    return Outcome("reached", "reached: all stages", "inflate", 1.0, margins=margins)


def rows(*margins):
    return [tuple(row) for row in limit_rows(outcome(*margins))]


def test_limits_in_their_order():
    assert rows(PRESSURE, VOLTAGE, OTHER) == [
        ("voltage", "1. electric breakdown", "voltage ring 2.5 kV", "1.25 ×"),
        ("", "2. buckling, bulging or necking (bifurcation)", "voltage ring 3 kV", "1.5 ×"),
        ("pressure", "none found", "", "up to 2 ×"),
        ("force", "not known: the state is unstable under given loads, so it has no margin", "", ""),
    ]
    assert limit_rows(None) == []


@pytest.mark.parametrize(
    ("load", "kind", "words"),
    [
        ("voltage", "limit point", "pull-in (limit point)"),
        ("pressure", "limit point", "snap at the pressure maximum (limit point)"),
        ("force", "limit point", "snap (limit point)"),
        ("pressure", "self-contact", "contact of walls with each other"),
        ("pressure", "wrinkling", "wrinkling of the wall"),
        ("voltage", "tearing", "tearing"),
    ],
)
def test_the_first_limit_in_words(load, kind, words):
    margin = Margin(load, 1.2, limits=(LimitAhead(kind, 1.2, f"{load} 6 units"),))
    text = first_limit(outcome(margin))
    assert (
        text
        == f"First limit: if only the {load} grows, {words} at {load} 6 units, 20 % above the working point."
    )


def test_limits_short_of_the_working_point_or_before_it():
    passed = replace(VOLTAGE, limits=(LimitAhead("tearing", 1.0, "", already=True),))
    assert first_limit(outcome(VOLTAGE, passed)) == "The working point itself is beyond a limit: tearing."
    assert rows(passed)[0][3] == "already passed"
    short = replace(VOLTAGE, limits=(LimitAhead("wrinkling", 0.5, "voltage ring 1 kV", is_bound=True),))
    assert first_limit(outcome(short)) == (
        "First limit: wrinkling of the wall at or below voltage ring 1 kV, before the requested loads are "
        "reached."
    )
    assert rows(short)[0][3] == "≤ 0.5 ×"
    together = replace(VOLTAGE, load="all loads")
    assert rows(together)[0][0] == "all loads together"
    assert "if all loads grow together, electric breakdown" in first_limit(outcome(together))
    assert first_limit(outcome(PRESSURE)) == ""


def finish(path, body, *verdicts, case=CASE, ended=OUTCOME):
    with create(path, body, case_toml=case) as run:
        for state in states(body):
            run.append(state)
        run.finish(ended, verdicts=verdicts)
    return open_run(path)


def plain(texts):
    return [text.replace(GAP, " ") for text in texts]


def test_margins_survive_the_folder(tmp_path, tube):
    run = finish(tmp_path / "a", tube, ended=replace(OUTCOME, margins=(VOLTAGE,), working_stage="inflate"))
    assert run.outcome.margins == (VOLTAGE,)
    assert run.outcome.working_stage == "inflate"


def test_how_much_is_missed(tmp_path, tube):
    nowhere = Verdict(
        "breakdown margin", "at least", 1.5, math.nan, "1", False, "no voltage at the last state"
    )
    run = finish(tmp_path / "a", tube, *VERDICTS, nowhere)
    assert plain(missed_texts(run)) == [
        "Peak stress is 0.2 MPa (last state); at most 0.1 MPa is required: missed by 0.1 MPa, 100 %.",
        "Breakdown margin: at least 1.5 is required, but it has no value (no voltage at the last state).",
    ]
    short = finish(tmp_path / "b", tube, *VERDICTS, ended=replace(OUTCOME, kind="limit point"))
    assert plain(missed_texts(short)) == [
        "Requirements at the requested loads that could not be judged: peak stress."
    ]


def test_states_of_the_path_that_would_do(tmp_path, tube):
    """The expansion rises from 0.05 over 0.1 to 0.2 in three states of stage inflate."""
    run = partial(finish, tmp_path / "a", tube)
    expansion = partial(Verdict, "mean radial expansion", unit="1", where="", value=0.2)
    at_most, at_least = (
        expansion(condition, limit=v, met=True) for condition, v in (("at most", 0.15), ("at least", 0.08))
    )
    missed = replace(at_most, met=False)
    found = remedies(run(missed))
    assert len(found) == 1
    assert found[0].startswith("In stage “inflate” mean radial expansion is met up to pressure")
    assert found[0].endswith("(state 2).")
    found = remedies(finish(tmp_path / "b", tube, missed, at_least))
    assert found[0].startswith("In stage “inflate” all requirements on its states are met only at pressure")
    high = expansion("at least", limit=0.3, met=False)
    found = remedies(finish(tmp_path / "c", tube, missed, high))
    assert "mean radial expansion at least 30 % is met in no state." in plain(found)[1]
    assert found[2] == "No state of stage “inflate” meets all requirements on its states."
    assert remedies(finish(tmp_path / "d", tube, VERDICTS[0])) == []


def test_the_nearest_run_beside_it_that_would_do(tmp_path, tube):
    finish(tmp_path / "weak", tube, *VERDICTS)
    near = CASE.replace('shear_modulus = "0.3 MPa"', 'shear_modulus = "0.4 MPa"')
    finish(tmp_path / "near", tube, VERDICTS[0], case=near)
    finish(tmp_path / "far", tube, VERDICTS[0], case=near.replace('"12 mm"', '"13 mm"'))
    other = near.replace("0.12", "0.11")
    finish(tmp_path / "easier", tube, VERDICTS[0], case=other)
    (tmp_path / "notes").mkdir()
    (tmp_path / "damaged").mkdir()
    (tmp_path / "damaged" / "case.toml").write_text("[shape")
    (tmp_path / "pipe").mkdir()
    os.mkfifo(tmp_path / "pipe" / "case.toml")
    changed = (
        finish(tmp_path / "changed", tube, VERDICTS[0], case=near.replace("0.4", "0.5")).path / "summary.json"
    )
    changed.write_text(changed.read_text().replace('"cells"', '"Cells"').replace("reached.", "Reached."))
    texts = remedies(open_run(tmp_path / "weak"))
    assert texts[-1] == (
        "The run “near” beside this one meets all requirements; it differs in "
        "materials.silicone.shear_modulus (0.3 MPa → 0.4 MPa)."
    )
