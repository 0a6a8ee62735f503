# SPDX-License-Identifier: MIT
"""The commands about scans: a run, an invented scan of it, and their comparison."""

import json
import shutil
import tomllib

import numpy as np
import pytest
import tomli_w
from plain_tube import BARE

from annelid.cases.cli.main import main
from annelid.cases.run.solved_state import case_with_loads, solved_state
from annelid.cases.validate.comparison_file import read_comparison
from annelid.cases.validate.reading import case_from_tables, read_case
from annelid.cases.validate.resolved import case_hash
from annelid.compare.alignment.nominal import state_displacement
from annelid.compare.comparison.simulated_part import finished_run
from annelid.compare.comparison.states import single_state
from annelid.geometry.errors import InputError
from annelid.results.folder.digests import read_sealed
from annelid.results.folder.run_record import open_run

MMHG = 133.322387415e-6  # MPa

REQUIRED = {
    "scanner_uncertainty": "5 um",
    "requirements": [
        {"quantity": "mean deviation", "at_least": "-0.1 mm", "at_most": "0.1 mm"},
        {"quantity": "radius at 10 mm", "at_least": "2 cm"},
    ],
}
BENCH = """
[cleaning]
outlier_strength = -1
[[requirements]]
quantity = "coverage"
at_least = "1 mm"
"""
BENCH_ERRORS = (
    "bench.toml: 2 errors\n  comparison.cleaning.outlier_strength: -1 must be from 0 to 100\n"
    "  comparison.requirements[coverage].at_least: '1 mm' is in millimeter"
)


@pytest.fixture(scope="module")
def place(tmp_path_factory):
    """A folder with a run of a tube whose ends differ, and an invented scan of it."""
    folder = tmp_path_factory.mktemp("scanned")
    case = folder / "tube.toml"
    case.write_text(tomli_w.dumps(BARE | {"mesh": {"along": "1 mm", "through": 1}, "comparison": REQUIRED}))
    assert main(["run", str(case), str(folder / "run"), "--no-report"]) == 0
    command = ["invent-scan", str(folder / "run"), "--seed", "5", "--out", str(folder / "invented_5.ply")]
    assert main(command) == 0
    return folder


@pytest.mark.slow
def test_an_invented_scan_is_compared_and_its_pose_is_found(place, capsys):
    capsys.readouterr()
    assert main(["compare", str(place / "run"), str(place / "invented_5.ply"), "--unit", "mm"]) == 0
    folder = place / "run" / "compare" / "invented_5"
    printed = capsys.readouterr().out
    assert f"written: {folder / 'compare.html'}" in printed
    assert "invented_5.ply: root mean square deviation " in printed
    assert "  met        mean deviation: " in printed
    assert "  NOT MET    radius at 10 mm: " in printed
    found, truth = (
        read_sealed(folder / "summary.json"),
        json.loads((place / "invented_5.truth.json").read_text()),
    )
    assert sorted(path.name for path in folder.iterdir()) == sorted([*found["files"], "summary.json"])
    back, shift = np.array(found["alignment"]["rotation"]), np.array(found["alignment"]["translation_mm"])
    rotation, translation = np.array(truth["rotation"]), np.array(truth["translation_mm"])
    # The tube fixes the pose but for the turn about its axis; only one of its ends is held at its radius.
    np.testing.assert_allclose(back @ rotation @ [0.0, 0.0, 1.0], [0.0, 0.0, 1.0], atol=2e-3)
    ends = np.array([[0.0, 0.0, 0.0], [0.0, 0.0, 20.0]])
    placed = (ends @ rotation.T + translation) @ back.T + shift
    np.testing.assert_allclose(placed, ends, atol=0.1)
    assert [entry["verdict"] for entry in found["verdicts"]] == ["met", "met", "not met"]
    assert found["verdicts"][2]["limit"] == pytest.approx(20.0)
    assert found["scanner uncertainty_mm"] == pytest.approx(5e-3)
    assert found["measures"]["mean deviation"]["value"] == pytest.approx(0.0, abs=0.02)
    assert main(["check", str(place / "tube.toml")]) == 0  # the Run folder and its case are as before


def test_an_invented_scan_says_so_in_its_name_and_in_its_header(place, tmp_path, capsys):
    assert b"invented scan, computed from a simulation" in (place / "invented_5.ply").read_bytes()[:300]
    assert main(["invent-scan", str(place / "run"), "--out", str(tmp_path / "scan.ply")]) == 2
    assert 'must contain "invented"' in capsys.readouterr().err
    assert list(tmp_path.iterdir()) == []


def test_the_same_seed_gives_the_same_scan(place, tmp_path):
    again = tmp_path / "invented_again.ply"
    assert main(["invent-scan", str(place / "run"), "--seed", "5", "--out", str(again)]) == 0
    assert again.read_bytes() == (place / "invented_5.ply").read_bytes()


def test_a_state_with_exactly_the_given_loads_is_solved_for(place):
    # The end of the run is at 5 mmHg, and the state between is known by linear interpolation only.
    run, loads = place / "run", {"pressure": 2.5 * MMHG}
    solved = solved_state(run, loads)
    table = open_run(solved.run).table
    assert table["pressure"][-1] == pytest.approx(loads["pressure"], rel=1e-12)
    assert "with exactly pressure 2.5\u00a0mmHg" in solved.remark
    assert "lies between state 0 and state 1" in solved.remark
    # The same state as that of a case whose stage ends there.
    tables = tomllib.loads((place / "tube.toml").read_text())
    tables["stages"][0]["pressure"] = "2.5 mmHg"
    (place / "half.toml").write_text(tomli_w.dumps(tables))
    assert main(["run", str(place / "half.toml"), str(place / "half"), "--no-report"]) == 0
    shapes = [state_displacement(open_run(path), {1: 1.0}) for path in (solved.run, place / "half")]
    np.testing.assert_allclose(*shapes, atol=1e-9)
    assert np.abs(shapes[0]).max() > 0.05
    written = (solved.run / "summary.json").stat().st_mtime_ns
    assert solved_state(run, loads).run == solved.run
    assert (solved.run / "summary.json").stat().st_mtime_ns == written
    assert solved_state(run, {"pressure": 5.0 * MMHG}) is None  # this state is in the run


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"control": "volume"}, "is driven by volume; give --volume alone; end a stage"),
        ({"duration": 1.0}, "the case changes in time"),
    ],
)
def test_states_that_loads_alone_do_not_reach_are_not_solved_for(place, change, message):
    record, loads = finished_run(place / "run"), {"pressure": 2.5 * MMHG}
    case = read_case(place / "run" / "case.toml")
    case = case.model_copy(update={"stages": (case.stages[0].model_copy(update=change),)})
    with pytest.raises(InputError, match=message):
        case_with_loads(case, record, single_state(record, loads), loads)


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (["run", "invented_5.ply"], "required: --unit"),
        (["run", "invented_5.ply", "--unit", "mm", "--solve"], "--solve: needs the loads of the scan"),
        (["run", "torn.ply", "--unit", "mm", "--solve", "--pressure", "4 mmHg"], "scan torn.ply: "),
        (
            ["run", "invented_5.ply", "--unit", "mm", "--solve", "--pressure", "90 mmHg"],
            "is not reached (limit point at pressure",
        ),
        (["run", "invented_5.ply", "--unit", "m"], "the unit is likelier mm"),
        (["run", "invented_5.ply", "--unit", "ell"], "'ell' is not a unit of length of scans"),
        (["nowhere", "invented_5.ply", "--unit", "mm"], "run folder nowhere: contains no run"),
        (["run", "tube.toml", "--unit", "mm"], "scan tube.toml: the name must end in .ply"),
        (["run", "torn.ply", "--unit", "mm"], "scan torn.ply: "),
        (["run", "absent.ply", "--unit", "mm"], "scan absent.ply: cannot be read"),
        (["run", "invented_5.ply", "--unit", "mm", "--state", "99"], "state 99: its fields were not written"),
        (["run", "invented_5.ply", "--unit", "mm", "--state", "first"], 'nor "last"'),
        (["run", "invented_5.ply", "--unit", "mm", "--out", "run"], "something other than a comparison"),
        (["run", "invented_5.ply", "invented_5.ply", "--unit", "mm"], "several scans have this name"),
        (["run", "invented_5.ply", "--unit", "mm", "--points", "tube.toml"], "tube.toml: missing: x_scan"),
        (["run", "invented_5.ply", "torn.ply", "--unit", "mm", "--points", "a.csv"], "belong to one scan"),
        (["run", "invented_5.ply", "--unit", "mm", "--datum", "points"], "points needs --points"),
        (["run", "invented_5.ply", "--unit", "mm", "--pressure", "3"], "'3' has no unit"),
        (["run", "invented_5.ply", "--unit", "mm", "--voltage", "1 kV"], "the run has no voltage"),
        (["run", "invented_5.ply", "--unit", "mm", "--state", "0", "--pressure", "5 mmHg"], "are given, too"),
        (
            ["run", "invented_5.ply", "--unit", "mm", "--no-cleaning", "--voxel", "1 mm"],
            "--voxel is given, too",
        ),
        (["run", "invented_5.ply", "--unit", "mm", "--voxel", "1 m"], "the cleaning leaves 1 of"),
        (["run", "invented_5.ply", "--unit", "mm", "--grazing-angle", "60"], "needs scanner_position"),
        (["run", "invented_5.ply", "--unit", "mm", "--view-direction", "0,1"], "is not three numbers"),
        (["run", "invented_5.ply", "--unit", "mm", "--settings", "bench.toml"], BENCH_ERRORS),
        (["begun", "invented_5.ply", "--unit", "mm"], "the run is not finished"),
    ],
)
def test_wrong_input_exits_with_2_and_writes_nothing(
    place, tmp_path, monkeypatch, capsys, arguments, message
):
    shutil.copytree(place / "run", tmp_path / "run", ignore=shutil.ignore_patterns("compare"))
    shutil.copytree(tmp_path / "run", tmp_path / "begun")
    (tmp_path / "begun" / "summary.json").unlink()
    for name in ("invented_5.ply", "tube.toml"):
        shutil.copy(place / name, tmp_path)
    (tmp_path / "bench.toml").write_text(BENCH)
    (tmp_path / "torn.ply").write_bytes((place / "invented_5.ply").read_bytes()[:2000])
    before = sorted(tmp_path.rglob("*"))
    monkeypatch.chdir(tmp_path)
    try:
        code = main(["compare", *arguments])
    except SystemExit as error:  # of the parser of the command line
        code = error.code
    assert code == 2
    assert message in capsys.readouterr().err
    assert sorted(tmp_path.rglob("*")) == before


def test_how_parts_are_compared_changes_neither_the_case_nor_its_hash(place):
    with_table = read_case(place / "tube.toml")
    without = case_from_tables(BARE | {"mesh": {"along": "1 mm", "through": 1}})
    assert case_hash(with_table) == case_hash(without)
    assert read_case(place / "run" / "case.toml").comparison == with_table.comparison
    assert read_comparison(place / "tube.toml") == with_table.comparison
