# SPDX-License-Identifier: MIT
"""A search finds a known optimum, and an interrupted search makes the same choices."""

import shutil

import numpy as np
import pytest
from stand_in_runs import RADIAL

from annelid.cases.run.run import run_case
from annelid.cases.studies.analysis import study_data
from annelid.cases.studies.opening import create_study, open_study
from annelid.cases.studies.plan_file import read_plan
from annelid.cases.studies.search import initial_plan, next_plan
from annelid.cases.studies.search_space import search_space
from annelid.cases.studies.values import to_internal
from annelid.cases.validate.reading import case_from_tables
from annelid.geometry.errors import InputError
from annelid.results.folder.run_record import open_run

RADIUS = {"key": "shape.inner_radius", "from": "4 mm", "to": "5.5 mm"}
WALL = {"key": "shape.layers.wall.thickness", "name": "wall", "from": "0.1 mm", "to": "0.8 mm"}
LEAST = [{"quantity": "mean radial expansion", "aim": "minimise"}]


def searching(study, evaluations=64, **keys):
    given = {
        "vary": [RADIUS, WALL],
        "objectives": LEAST,
        "fixed": {"notes": "bowl"},
        "output": {"reports": False},
    }
    return study(**given | {"search": {"evaluations": evaluations}} | keys)


def best(table):
    """The best row of those that meet the requirement."""
    return min((row for row in table.rows if row["all requirements met"]), key=lambda row: row[RADIAL])


@pytest.mark.long
@pytest.mark.exact
def test_optimum_on_a_requirement_boundary_is_found(study, drive, attempts):
    # (r - 4.6)^2 + (t - 0.3)^2, r of 4.8 or more required: by Lagrange's multiplier r = 4.8, t = 0.3, 0.04.
    plan, store = searching(study, evaluations=120)
    row = best(drive(plan, store, workers=1))
    assert row[RADIAL] == pytest.approx(0.04, abs=0.012)
    assert row["inner_radius [mm]"] == pytest.approx(4.8, abs=0.04)
    assert row["wall [mm]"] == pytest.approx(0.3, abs=0.12)
    # It must be better than the evenly spread start.
    start = read_plan(store.path).runs[:16]
    radii = np.array([[to_internal(run.values[k]) for k in ("inner_radius", "wall")] for run in start])
    allowed = radii[radii[:, 0] >= 4.8]
    assert row[RADIAL] < ((allowed - [4.6, 0.3]) ** 2).sum(axis=1).min()
    assert len(attempts(store)) == len(set(attempts(store))) == 120


@pytest.mark.long
def test_an_interrupted_search_makes_the_same_choices(study, drive, attempts, tmp_path):
    plan, store = searching(study, evaluations=32)
    drive(plan, store, workers=1)
    whole = [run.id for run in read_plan(store.path).runs]
    # Interrupted in the second batch: the plan exists, some of its runs do not.
    for name in whole[20:]:
        shutil.rmtree(store.run_folder(read_plan(store.path).run(name)))
    again, _ = open_study(str(tmp_path / "some.toml"), store.path)
    drive(again, store)
    assert [run.id for run in read_plan(store.path).runs] == whole
    assert sorted(attempts(store)) == sorted(whole + whole[20:])


@pytest.mark.long
def test_more_evaluations_continue_the_same_search(study, drive):
    drive(*searching(study, evaluations=16))
    _, store = searching(study, evaluations=16)
    few = [run.id for run in read_plan(store.path).runs]
    plan, store = searching(study, evaluations=32)
    drive(plan, store, workers=1)
    assert [run.id for run in read_plan(store.path).runs][:16] == few
    assert len(read_plan(store.path).run_of_point) == 32


def test_the_search_avoids_values_that_fail(study, drive):
    plan, store = searching(
        study,
        evaluations=32,
        vary=[RADIUS, {"key": "notes", "values": ["bowl", "error"]}],
        fixed={},
    )
    table = drive(plan, store, workers=1)
    notes = [run.values["notes"] for run in read_plan(store.path).runs]
    assert 3 <= notes[:16].count("error") <= 13
    assert [row["status"] == "failed" for row in table.rows] == [note == "error" for note in notes]
    # All runs with "error" failed, which were half of the start.
    assert notes[16:].count("error") <= 4


def test_several_objectives_give_a_front(study, drive):
    both = [*LEAST, {"quantity": "lumen volume", "aim": "maximise"}]
    plan, store = searching(study, evaluations=16, objectives=both)
    table = drive(plan, store, workers=1)
    for number, row in enumerate(table.rows):
        row["lumen volume [mm3]"] = float(number)
    data = study_data(table.plan, table.rows)
    assert len(data.front) > 0
    assert all(data.categories[row] == "met" for row in data.front)


def test_no_points_are_chosen_while_runs_are_waiting(study):
    plan, store = searching(study)
    assert next_plan(plan, store) is None
    create_study(plan, store)
    assert next_plan(plan, store) is None
    assert list((store.path / "runs").iterdir()) == []
    assert len(plan.run_of_point) == 16
    plain, other = study(vary=[RADIUS | {"count": 2}])
    assert next_plan(plain, other) is None


def test_points_and_parameters_are_inverse(study):
    plan, _ = searching(
        study,
        vary=[
            RADIUS | {"spacing": "logarithmic"},
            WALL,
            {"key": "parts.wall.sheets.count", "values": [5, 3, 4]},
            {"key": "notes", "values": ["b", "a"]},
        ],
        fixed={},
    )
    space = search_space(plan.file.study)
    assert space.levels == {"count": (3, 4, 5), "notes": ("b", "a")}
    for run in plan.runs:
        assert space.to_point(space.to_parameters(run.values)) == {
            k: run.values[k] for k in space.to_parameters(run.values)
        }
    shares = {"inner_radius": 0.5, "wall": 0.5, "count": 0.99, "notes": 0.0}
    chosen = space.from_unit_cube(shares)
    assert chosen["inner_radius"] == pytest.approx((4 * 5.5) ** 0.5)
    assert (chosen["count"], chosen["notes"]) == (2, 0)


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"objectives": []}, "objectives: missing"),
        ({"tolerance": True}, "leave out"),
        ({"sampling": {"method": "random", "samples": 4}}, "leave out"),
        ({"vary": [RADIUS | {"pair": "x"}]}, "paired"),
        ({"vary": [RADIUS | {"to": "3 mm"}]}, "below"),
        (
            {"vary": [{"key": "mesh.along", "distribution": "normal", "mean": "1 mm", "deviation": "1 %"}]},
            "distributions",
        ),
        ({"vary": [RADIUS, RADIUS]}, "two variables"),
        ({"search": {"evaluations": 3}}, "evaluations"),
    ],
)
def test_invalid_searches_are_refused(study, change, message):
    with pytest.raises(InputError, match=message):
        searching(study, **change)


def test_run_stops_after_a_stage_misses_its_requirement(tables, tmp_path):
    tables["requirements"] = [{"quantity": "mean radial expansion", "at_least": "90 %", "stage": "fill"}]
    case = case_from_tables(tables)
    result = run_case(case, tmp_path / "run", stop_early=True)
    assert result.outcome.kind == "stopped early"
    assert "at the end of stage 'fill', but at least 90" in result.outcome.text
    record = open_run(tmp_path / "run")
    assert record.status == "finished"
    assert set(record.table.stages) == {"fill"}
    assert not record.verdicts[0].met
    assert run_case(case, tmp_path / "whole").outcome.kind == "reached"


@pytest.mark.long
def test_the_start_is_even(study):
    plan, _ = searching(study, evaluations=64, search={"evaluations": 64, "start": 64})
    for name, low, high in (("inner_radius", 4, 5.5), ("wall", 0.1, 0.8)):
        shares = (np.array([to_internal(run.values[name]) for run in initial_plan(plan.file).runs]) - low) / (
            high - low
        )
        counts = np.histogram(shares, bins=8, range=(0, 1))[0]
        assert (counts == 8).all()
