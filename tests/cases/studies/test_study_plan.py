# SPDX-License-Identifier: MIT
import json
import tomllib

import pytest
import tomli_w
from plain_tube import TABLES

from annelid.cases.studies.keys import set_keys
from annelid.cases.studies.opening import open_study
from annelid.cases.studies.plan import make_plan
from annelid.cases.studies.plan_file import PLAN, plan_matches, read_plan, write_plan
from annelid.cases.studies.reading import library_studies, read_study
from annelid.cases.studies.table import StudyTable
from annelid.cases.validate.reading import case_from_tables
from annelid.cases.validate.resolved import case_hash
from annelid.geometry.errors import InputError

MMHG = 13.5951 * 9.80665 * 1e-6  # MPa; the conventional millimetre of mercury, not a torr (from memory)
RADII = {"key": "shape.inner_radius", "values": ["4 mm", "5 mm"]}


def test_run_is_identified_by_the_hash_of_its_case(study):
    plan, _ = study(vary=[RADII], output={"keep": "all"})
    for run, radius in zip(plan.runs, ["4 mm", "5000 um"], strict=True):
        keys = {"shape.inner_radius": radius, "output.fields": "all", "path.seek_limit": 1}
        case = case_from_tables(set_keys(TABLES, keys))
        assert run.hash == case_hash(case)
        assert run.id == run.hash[:12]
        assert case_hash(run.case()) == run.hash


def test_an_added_value_adds_a_run_and_keeps_the_others(study):
    few, _ = study(vary=[RADII])
    more, _ = study(vary=[RADII | {"values": ["4 mm", "4.5 mm", "5 mm"]}])
    assert [run.id for run in few.runs] == [more.runs[0].id, more.runs[2].id]


def test_runs_have_the_units_of_the_base_case(study):
    plan, _ = study(
        constants={"sheet": "50 um"},
        vary=[RADII],
        derive=[{"name": "wall", "key": "shape.layers.wall.thickness", "formula": "2 * sheet"}],
    )
    base = case_from_tables(TABLES).output.units
    assert base["length"] == ("mm",)
    assert [run.case().output.units for run in plan.runs] == [base, base]


def test_points_of_equal_cases_share_a_run(study):
    plan, _ = study(vary=[RADII | {"values": ["4 mm", "5 mm", "4000 um"]}])
    assert plan.run_of_point == (0, 1, 0)
    assert len(plan.runs) == 2


def test_equal_points_are_resolved_once(study, monkeypatch):
    resolved = []
    count = lambda case: resolved.append(case) or case_hash(case)  # noqa: E731
    monkeypatch.setattr("annelid.cases.studies.plan.case_hash", count)
    plan, _ = study(vary=[RADII | {"values": ["4 mm", "5 mm"] + 200 * ["4 mm"]}])
    assert (len(plan.run_of_point), len(plan.runs)) == (202, 2)
    assert len(resolved) == 2


def test_derived_keys_follow_the_variables(study):
    plan, _ = study(
        constants={"sheet": "50 um"},
        vary=[{"key": "parts.wall.sheets.count", "values": [2, 4]}],
        derive=[
            {"name": "wall", "key": "shape.layers.wall.thickness", "formula": "count * sheet"},
            {"name": "slenderness", "formula": "wall / (4 * wall + sheet)"},
        ],
    )
    cases = [run.case() for run in plan.runs]
    assert [case.shape.layers[0].thickness for case in cases] == pytest.approx([0.1, 0.2], rel=1e-12)
    assert [run.values["slenderness"] for run in plan.runs] == pytest.approx(
        [0.1 / 0.45, 0.2 / 0.85], rel=1e-9
    )
    assert [(v.name, v.unit) for v in plan.variables] == [
        ("count", "1"),
        ("wall", "mm"),
        ("slenderness", "1"),
    ]


def test_invalid_point_is_planned_with_its_problem(study):
    plan, store = study(vary=[RADII | {"values": ["4 mm", "-1 mm"]}])
    assert [bool(run.toml) for run in plan.runs] == [True, False]
    assert "shape.inner_radius" in plan.runs[1].problem
    assert store.state(plan.runs[1]) == "failed"
    assert store.failure(plan.runs[1]).kind == "impossible"
    with pytest.raises(InputError, match="no point of the study has a valid case"):
        study(vary=[RADII | {"values": ["-1 mm"]}])


def test_runs_are_found_by_id_beginning_and_number(study):
    plan, _ = study(vary=[RADII])
    assert plan.run(plan.runs[1].id) is plan.run(plan.runs[1].id[:8]) is plan.run("#2") is plan.runs[1]
    for name in ("#0", "#3", "", "zz"):
        with pytest.raises(InputError):
            plan.run(name)


def test_runs_that_share_their_equations_are_of_one_kind(study):
    plan, _ = study(vary=[RADII, {"key": "materials.rubber.shear_modulus", "values": ["0.1 MPa", "70 kPa"]}])
    assert len({run.kind for run in plan.runs}) == 1
    plan, _ = study(
        vary=[{"key": "electrics.model", "values": ["layered", "solved"]}],
        fixed={"parts.wall.sheets.count": 1},
    )
    assert len({run.kind for run in plan.runs}) == 2


def test_the_plan_on_disk_reads_back_to_the_same_plan(study, tmp_path):
    plan, _ = study(
        vary=[RADII | {"values": ["4 mm", "-1 mm"]}], derive=[{"name": "d", "formula": "2 * inner_radius"}]
    )
    write_plan(plan, tmp_path)
    again = read_plan(tmp_path)
    assert (again.runs, again.variables, again.run_of_point) == (plan.runs, plan.variables, plan.run_of_point)
    assert again.file.study == plan.file.study
    assert tomllib.loads(again.runs[0].toml)["shape"]["inner_radius"] == "4 mm"


def test_plan_is_reused_only_for_unchanged_input(study, tmp_path):
    (tmp_path / "base.toml").write_text("")
    plan, _ = study(vary=[RADII])
    write_plan(plan, tmp_path)
    assert plan_matches(plan.file, tmp_path)
    assert not plan_matches(plan.file._replace(text=plan.file.text + "\n# more"), tmp_path)
    assert not plan_matches(plan.file._replace(base=plan.file.base | {"notes": "other"}), tmp_path)


@pytest.mark.parametrize("damage", ["", "[]\n", '{"kind": "other"}\n', "half a li"])
def test_the_error_of_a_damaged_plan_states_what_to_do(study, tmp_path, damage):
    plan, _ = study(vary=[RADII])
    write_plan(plan, tmp_path)
    (tmp_path / PLAN).write_text(damage)
    with pytest.raises(InputError, match=r"damaged|not a study folder"):
        read_plan(tmp_path)
    assert not plan_matches(plan.file, tmp_path)


def test_plan_lines_are_sufficient_for_remote_workers(study, tmp_path):
    plan, _ = study(vary=[RADII])
    write_plan(plan, tmp_path)
    head, *lines = [json.loads(line) for line in (tmp_path / PLAN).read_text().splitlines()]
    assert head["kind"] == "annelid study plan"
    assert head["ranks"] == 1
    assert [line["id"] for line in lines] == [run.id for run in plan.runs]


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"vary": []}, "vary"),
        ({"varry": 1}, "did you mean 'vary'"),
        ({"vary": [{"key": "x", "valus": [1]}]}, r"vary.*did you mean 'values'"),
        ({"quantities": ["peak stres"]}, "did you mean 'peak stress'"),
        ({"limits": {"time": 5}}, "limits.time"),
        ({"derive": [{"formula": "1"}]}, "neither"),
        ({"derive": [{"name": "inner_radius", "formula": "1"}]}, "is already used"),
        ({"fixed": {"shape.inner_radus": "1 mm"}}, "inner_radus"),
        ({"case": "no_such_case"}, "no_such_case"),
    ],
)
def test_errors_of_a_study_name_the_key(study, change, message):
    with pytest.raises(InputError, match=message):
        study(**{"vary": [RADII]} | change)


def test_files_that_cannot_be_read(tmp_path):
    for name, content in [("a.toml", b"\xff"), ("b.toml", b"title = ")]:
        (tmp_path / name).write_bytes(content)
        with pytest.raises(InputError, match=name):
            make_plan(read_study(tmp_path / name))
    with pytest.raises(InputError, match="cannot be read"):
        read_study(tmp_path / "absent.toml")


def test_a_value_called_ranks_sets_the_processors_of_a_run(study):
    lengths = {"key": "mesh.along", "values": ["4 mm", "2 mm", "1 mm"], "pair": "size"}
    plan, _ = study(vary=[lengths, {"name": "ranks", "values": [1, 1, 2], "pair": "size"}], ranks=3)
    assert [run.ranks for run in plan.runs] == [1, 1, 2]
    assert plan.max_ranks == 2
    with pytest.raises(
        InputError, match=r"ranks: 1.5 is not a number of processors; it must be a whole number"
    ):
        study(vary=[lengths], derive=[{"name": "ranks", "formula": "3 / 2"}])


@pytest.mark.parametrize("name", sorted(library_studies()))
def test_library_studies_can_be_planned_and_are_invented(name, tmp_path):
    plan, _ = open_study(name, tmp_path)
    assert len(plan.runs) >= 4
    assert all(run.toml for run in plan.runs)
    assert plan.file.study.notes.startswith("Invented")


def test_there_are_studies_of_each_kind_in_the_library():
    assert set(library_studies()) >= {"cuff_voltage", "balloon_tolerance", "ring_optimum", "tube_choice"}


@pytest.mark.parametrize(
    ("key", "values", "unit", "numbers"),
    [
        # By hand; 1 mL = 1e3 mm3.
        (
            "circuit.elements.body.resistance",
            ["1 mmHg s/mL", "500 Pa s/mL"],
            "MPa s/mm3",
            [MMHG * 1e-3, 5e-7],
        ),
        ("circuit.elements.body.compliance", ["1.2 mL/mmHg", "10 mm3/Pa"], "mm3/MPa", [1.2e3 / MMHG, 1e7]),
    ],
)
def test_values_of_a_circuit_vary_with_their_units(tmp_path, key, values, unit, numbers):
    assert_varied(tmp_path, "counterpulsation_pump", key, values, unit, numbers)


def test_a_viscosity_varies_with_its_unit(tmp_path):
    # 1 Pa s = 10 poise
    values, numbers = ["1 Pa s", "20 poise"], [1e-6, 2e-6]
    assert_varied(tmp_path, "intestinal_sleeve", "fluid.viscosity", values, "MPa s", numbers)


def assert_varied(folder, base, key, values, unit, numbers):
    path = folder / "some.toml"
    study = {"title": "Some", "case": base, "vary": [{"key": key, "name": "x", "values": values}]}
    path.write_text(tomli_w.dumps(study))
    plan, store = open_study(str(path), folder / "some")
    assert [case_hash(run.case()) for run in plan.runs] == [run.hash for run in plan.runs]
    assert plan.runs[0].hash != plan.runs[1].hash
    rows = StudyTable(plan, store).rows
    assert [row[f"x [{unit}]"] for row in rows] == pytest.approx(numbers, rel=1e-10)
