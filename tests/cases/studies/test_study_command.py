# SPDX-License-Identifier: MIT
"""Studies from the command line, with real runs of a small tube."""

import csv
import json
import tomllib

import pytest
import tomli_w

from annelid.cases.studies import planned_run
from annelid.cases.studies.opening import create_study
from annelid.cases.studies.single_run import Reply
from annelid.geometry.errors import AnnelidError

FAILED, INPUT = 1, 2


@pytest.fixture
def file(tables, tmp_path):
    """A study of a tube with two radii and an invalid one; each run takes less than a second."""
    tables["stages"] = [{"name": "fill", "pressure": "2 mmHg", "steps": 1}]
    tables["requirements"] = [{"quantity": "mean radial expansion", "at_least": "1 %"}]
    vary = [{"key": "shape.inner_radius", "values": ["4 mm", "5 mm", "-1 mm"]}]
    content = {"title": "Radii", "case": tables, "vary": vary, "output": {"reports": False}}
    path = tmp_path / "radii.toml"
    path.write_text(tomli_w.dumps(content))
    return path


def rows(folder):
    with open(folder / "study.csv", newline="") as stream:
        return list(csv.DictReader(stream))


@pytest.mark.slow
def test_study_is_planned_run_and_continued(annelid, file, tmp_path):
    dry = annelid("study", file, "--dry-run")
    assert dry.returncode == 0, dry.stderr
    assert "3 runs, 2 to do" in dry.stdout
    assert "from 1 timed run" in dry.stdout
    assert "shape.inner_radius" in dry.stdout
    assert not (tmp_path / "studies").exists()

    done = annelid("study", file, "--workers", 1)
    assert done.returncode == 0, done.stderr
    assert "2 finished, 1 failed (2 new)" in done.stdout
    folder = tmp_path / "studies" / "radii"
    table = rows(folder)
    assert [row["status"] for row in table] == ["finished", "finished", "failed"]
    # A thin tube widens by about P R / (2 G h 1.5) of its radius: a wider one widens more.
    assert float(table[0]["mean radial expansion [1]"]) < float(table[1]["mean radial expansion [1]"])
    assert "shape.inner_radius" in table[2]["reason"]

    again = annelid("study", file)
    assert "(0 new)" in again.stdout
    status = annelid("study", folder, "--status")
    assert "2 finished, 1 failed" in status.stdout
    assert "impossible: " in status.stdout


@pytest.mark.long
@pytest.mark.slow
def test_one_planned_run_needs_only_the_study_folder(annelid, file, tmp_path):
    assert annelid("study", file, "--collect").returncode == FAILED  # nothing is finished yet
    folder = tmp_path / "studies" / "radii"
    plan = [json.loads(line) for line in (folder / "plan.jsonl").read_text().splitlines()][1:]
    file.unlink()
    done = annelid("study", folder, "--only", "#2")
    assert done.returncode == 0, done.stderr
    assert (folder / "runs" / plan[1]["id"] / "summary.json").exists()
    assert annelid("study", folder, "--only", plan[1]["id"][:6]).stdout.endswith("is finished\n")
    refused = annelid("study", folder, "--only", plan[2]["id"])
    assert refused.returncode == INPUT
    assert "shape.inner_radius" in refused.stderr
    assert annelid("study", folder, "--collect").returncode == 0
    assert [row["status"] for row in rows(folder)] == ["waiting", "finished", "failed"]


def test_a_damaged_case_of_a_plan_leaves_the_table_as_it_is(annelid, file, tmp_path):
    annelid("study", file, "--collect")
    folder = tmp_path / "studies" / "radii"
    plan, table = folder / "plan.jsonl", folder / "study.csv"
    plan.write_text(plan.read_text().replace(" mm", " nan"))
    table.unlink()
    done = annelid("study", folder, "--collect")
    assert done.returncode == INPUT
    assert "shape.inner_radius: '4 nan' has a unit that cannot be read" in done.stderr
    assert not table.exists()


def test_ranks_that_are_not_connected_are_detected(annelid, annelid_process, file, tmp_path):
    annelid("study", file, "--collect")
    alone = annelid_process("study", tmp_path / "studies" / "radii", "--only", "#1", "--expect-ranks", 2)
    assert alone.returncode == INPUT
    assert "2 ranks were requested, but this run has 1" in alone.stderr
    assert rows(tmp_path / "studies" / "radii")[0]["status"] == "waiting"


@pytest.mark.parametrize(
    ("reply", "state", "error"),
    [
        (Reply("error", "no mesh"), "failed", "failed: no mesh"),
        (Reply("memory", "memory ran out"), "failed", "memory ran out"),
        (Reply("disk", "No space left"), "waiting", "disk is full"),
        (Reply("busy", "process 1 works on it"), "waiting", "process 1"),
    ],
)
def test_the_state_of_a_single_run_that_fails(study, monkeypatch, reply, state, error):
    plan, store = study(vary=[{"key": "shape.inner_radius", "values": ["4 mm"]}])
    create_study(plan, store)
    monkeypatch.setattr(planned_run, "run_job", lambda job: reply)
    with pytest.raises(AnnelidError, match=error):
        planned_run.run_planned(plan, store, "#1")
    assert store.state(plan.runs[0]) == state


@pytest.mark.long
@pytest.mark.mpi
def test_runs_on_several_ranks(annelid, file, tmp_path):
    content = tomllib.loads(file.read_text())
    content["vary"][0]["values"] = ["4 mm"]
    file.write_text(tomli_w.dumps({"ranks": 2, **content}))
    done = annelid("study", file)
    assert done.returncode == 0, done.stderr
    (run,) = (tmp_path / "studies" / "radii" / "runs").iterdir()
    assert json.loads((run / "provenance.json").read_text())["ranks"] == 2


def test_library_studies_are_listed_without_arguments(annelid):
    listed = annelid("study")
    assert listed.returncode == 0
    assert "cuff_voltage" in listed.stdout


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (["no_such"], "no library study"),
        (["cuf_voltage"], "did you mean 'cuff_voltage'"),
        (["cuff_voltage", "--workers", "0"], "whole number"),
        (["cuff_voltage", "--time-limit", "5"], "unit"),
        (["cuff_voltage", "--memory-limit", "-1 GB"], "above 0 megabyte"),
        (["cuff_voltage", "--dry-run", "--collect"], "not allowed"),
    ],
)
def test_invalid_arguments_exit_with_code_2_and_a_reason(annelid, arguments, message):
    done = annelid("study", *arguments)
    assert done.returncode == INPUT
    assert message in done.stderr
