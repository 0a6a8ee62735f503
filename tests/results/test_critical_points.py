# SPDX-License-Identifier: MIT
import csv
import json
from dataclasses import replace

import numpy as np
import pytest
from synthetic_paths import FILL, bulge, states, turned
from synthetic_runs import create

from annelid.results.fields.state_fields import MODE, FieldGrid
from annelid.results.fields.vtk_files import read_point_arrays
from annelid.results.folder.critical_points import load_ratios
from annelid.results.folder.run_record import open_run
from annelid.results.folder.tables import read_path
from annelid.solver.display import DisplayUnits
from annelid.solver.records import Measure


@pytest.fixture(scope="module")
def run(tmp_path_factory, tube):
    return open_run(turned(tmp_path_factory.mktemp("critical") / "run", tube))


def test_path_csv_has_the_kinds_of_critical_states(run):
    with open(run.path / "path.csv", newline="") as file:
        header, *rows = csv.reader(file)
    column = header.index("critical")
    assert [row[column] for row in rows] == ["", "", "limit point", "", "", "", "", ""]
    assert run.table.critical[2] == "limit point"
    assert np.flatnonzero(run.table.is_critical).tolist() == [2]
    assert run.table.loads == ("pressure",)
    assert "critical" not in run.table.columns


def test_path_without_a_critical_column_can_be_read(run, tmp_path):
    with open(run.path / "path.csv", newline="") as file:
        rows = [row[:2] + row[3:] for row in csv.reader(file)]
    file = tmp_path / "path.csv"
    file.write_text("".join(",".join(row) + "\n" for row in rows))
    table = read_path(file, DisplayUnits())
    assert not table.is_critical.any()
    np.testing.assert_array_equal(table["pressure"], run.table["pressure"])


def test_summary_and_run_record_have_the_critical_points(run):
    (entry,) = json.loads((run.path / "summary.json").read_text())["critical_points"]
    assert (entry["kind"], entry["stage"], entry["state"]) == ("limit point", "fill", 2)
    assert entry["loads"] == {"pressure [MPa]": 0.03}
    assert entry["quantities"]["largest stretch [1]"] == 1.2
    assert "lumen volume [mm3]" in entry["quantities"]
    (point,) = run.critical_points
    assert point.to_mapping() == entry


def test_unfinished_runs_have_critical_points(run, tmp_path):
    copy = tmp_path / "run"
    copy.mkdir()
    for name in ("provenance.json", "case.toml", "description.json", "body.npz", "path.csv"):
        (copy / name).write_bytes((run.path / name).read_bytes())
    assert open_run(copy).critical_points == run.critical_points


def test_fields_of_critical_states_are_stored(tmp_path, tube):
    kept = open_run(turned(tmp_path / "run", tube, keep_fields="stage ends"))
    assert sorted(kept.field_files) == [2, 5, 7]
    kept = open_run(turned(tmp_path / "other", tube, keep_fields="last"))
    assert sorted(kept.field_files) == [7]


def test_the_mode_is_written_at_the_nodes(run, tube):
    arrays = read_point_arrays(run.field_file(2))
    mode = arrays[MODE][FieldGrid(tube).cells]
    np.testing.assert_array_equal(mode[..., [0, 2]], bulge(tube)[tube.cells])
    np.testing.assert_array_equal(mode[..., 1], 0.0)
    assert MODE not in read_point_arrays(run.field_file(1))


def test_least_in_plane_stress_is_undefined_outside_walls(tube):
    state = next(states(tube))
    values = np.full(tube.cells.shape, -0.25)
    values[tube.regions["liner"]] = np.inf
    arrays = FieldGrid(tube).point_arrays(replace(state, fields={"least in-plane stress": values}))
    stress = arrays["least in-plane stress [MPa]"][FieldGrid(tube).cells]
    assert np.isnan(stress[tube.regions["liner"]]).all()
    np.testing.assert_array_equal(stress[tube.regions["skin"]], -0.25)


def test_jumps_and_branches_are_stored(run, tmp_path, tube):
    assert np.flatnonzero(run.table.after_jump).tolist() == [6]
    rows = [
        ("up", 0.0, 1.0, 0.0, 0, 0, ""),
        ("up", 0.5, 1.2, 0.03, 0, 0, "limit point"),
        ("up", 0.6, 1.6, 0.031, 0, 0, "", "jump"),
        ("up", 0.8, 1.7, 0.04, 0, 0, "bifurcation"),
        ("up", 0.01, 1.7, 0.0401, 0, 0, "", "branch"),  # its parameter starts anew
        ("up", 0.02, 1.7, 0.041, 0, 0, "bifurcation"),
        ("up", 0.03, 1.8, 0.042, 1, 1, ""),
        ("down", 0.5, 1.7, 0.03, 1, 1, ""),
    ]
    turning = open_run(turned(tmp_path / "run", tube, rows))
    table = turning.table
    assert table.reached_by == ("", "", "jump", "", "branch", "", "", "")
    assert np.flatnonzero(table.after_jump).tolist() == [2]
    assert turning.summary["jumps_and_branches"] == [
        {"state": 2, "stage": "up", "reached by": "jump"},
        {"state": 4, "stage": "up", "reached by": "branch"},
    ]
    # Along the whole path a stage takes one unit all the same, branch or not.
    assert (np.diff(table.coordinate) > 0).all()
    assert table.coordinate[6] == 1.0


def test_critical_loads_are_compared_with_last_and_target(run, tmp_path, tube):
    (point,) = run.critical_points
    ratios = load_ratios(run.table, point, "pressure", run.description.targets)
    assert ratios.over_last == pytest.approx(0.03 / 0.02)
    assert np.isnan(ratios.over_target)  # the stage requests a volume
    assert ratios.passed
    targets = {"fill": {"pressure": 0.04}}
    stopped = open_run(turned(tmp_path / "run", tube, FILL[:3]))
    ratios = load_ratios(stopped.table, point, "pressure", targets)
    assert ratios.over_target == pytest.approx(0.75)
    assert not ratios.passed


def test_no_ratio_to_states_with_different_other_loads(tmp_path, tube):
    def powered(kilovolts):
        return {"pressure": Measure(0.02, "MPa"), "voltage ring": Measure(kilovolts, "kV")}

    with create(tmp_path / "run", tube) as run:
        for state, kilovolts in zip(states(tube, FILL[1:4]), (1.0, 2.0, 3.0), strict=True):
            run.append(replace(state, loads=powered(kilovolts)))
    record = open_run(tmp_path / "run")
    (point,) = record.critical_points
    assert np.isnan(load_ratios(record.table, point, "pressure", {}).over_last)
    assert load_ratios(record.table, point, "voltage ring", {}).over_last == pytest.approx(2.0 / 3.0)
