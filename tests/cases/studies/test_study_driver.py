# SPDX-License-Identifier: MIT
"""Errors of a run affect only that run; errors of the driver affect no finished run."""

import json
import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest
from child_process import start_interruptible
from plain_tube import ROOT
from stand_in_runs import RADIAL

from annelid.cases.cli.main import main
from annelid.cases.studies import driver, store
from annelid.cases.studies.opening import create_study
from annelid.geometry.errors import AnnelidError, InputError

RADII = {"key": "shape.inner_radius", "values": ["4 mm", "4.25 mm", "4.5 mm", "4.75 mm", "5 mm"]}


def runs_with_notes(*notes):
    """Runs that behave as their notes specify."""
    return {"key": "notes", "values": list(notes)}


def by_notes(table):
    return {row["notes"]: row for row in table.rows}


def test_every_run_is_done_once(study, drive, attempts):
    plan, store = study(vary=[RADII])
    table = drive(plan, store)
    assert [row["status"] for row in table.rows] == ["finished"] * 5
    assert [row[RADIAL] for row in table.rows] == [4, 4.25, 4.5, 4.75, 5]
    assert [row["all requirements met"] for row in table.rows] == [False, False, True, True, True]
    assert all(row["report"] for row in table.rows)
    assert [row["stability margin pressure [1]"] for row in table.rows] == [1.5] * 5
    assert all(row["stability margin pressure is a lower bound"] for row in table.rows)
    assert all(row["opening pressure [MPa]"] == 2 * row[RADIAL] for row in table.rows)
    drive(plan, store)
    assert sorted(attempts(store)) == sorted(run.id for run in plan.runs)


def test_an_added_value_runs_only_the_new_runs(study, drive, attempts):
    drive(*study(vary=[RADII | {"values": ["4 mm", "5 mm"]}]))
    plan, store = study(vary=[RADII])
    drive(plan, store)
    assert sorted(attempts(store)) == sorted(run.id for run in plan.runs)


@pytest.mark.long
def test_kinds_of_failed_runs_are_distinguished(study, drive, attempts):
    plan, store = study(
        vary=[runs_with_notes("fine", "crash", "exit", "error", "greedy 1e6", "killed", "good")]
    )
    rows = by_notes(drive(plan, store))
    assert {notes: row["status"] for notes, row in rows.items()} == {
        "fine": "finished",
        "good": "finished",
    } | dict.fromkeys(["crash", "exit", "error", "greedy 1e6", "killed"], "failed")
    kinds = {notes: rows[notes]["outcome"] for notes in ("crash", "exit", "error", "greedy 1e6", "killed")}
    assert kinds == {
        "crash": "crash",
        "exit": "crash",
        "error": "error",
        "greedy 1e6": "memory",
        "killed": "crash",
    }
    assert "SIGSEGV" in rows["crash"]["reason"]
    assert rows["error"]["reason"] == "these values make no sense"
    # A run whose worker is killed by another process has three attempts, the others have one.
    assert len(attempts(store)) == 9
    drive(plan, store)
    assert len(attempts(store)) == 9


def test_a_run_that_hangs_is_killed_at_its_time_limit(study, drive):
    plan, store = study(vary=[runs_with_notes("fine", "hang")])
    begin = time.monotonic()
    rows = by_notes(drive(plan, store, time_limit=1.0))
    assert time.monotonic() - begin < 60
    assert rows["hang"]["outcome"] == "time limit"
    assert "--time-limit" in rows["hang"]["reason"]
    assert rows["fine"]["status"] == "finished"


def test_a_run_that_exceeds_its_memory_limit_is_killed(study, drive):
    # It takes 300 MB at once and holds them: allowed to allocate, but over its limit of resident memory.
    plan, store = study(vary=[runs_with_notes("fine", "hungry 300")])
    rows = by_notes(drive(plan, store, memory_limit=310.0, time_limit=60.0))
    assert rows["hungry 300"]["outcome"] == "memory"
    assert rows["fine"]["status"] == "finished"


def test_failed_runs_repeat_when_their_record_is_deleted(study, drive, attempts):
    plan, store = study(vary=[runs_with_notes("error")])
    drive(plan, store)
    store.delete_failure(plan.runs[0])
    drive(plan, store)
    assert len(attempts(store)) == 2


def test_a_full_disk_stops_the_study_and_no_run_fails(study, drive):
    plan, store = study(vary=[runs_with_notes("fine", "full")])
    with pytest.raises(AnnelidError, match=r"disk is full.*Finished runs are kept"):
        drive(plan, store, workers=1)
    assert [store.state(run) for run in plan.runs] == ["finished", "waiting"]


def test_a_disk_that_fills_up_while_a_failure_is_recorded(study, drive, monkeypatch):
    plan, the_store = study(vary=[runs_with_notes("crash")])

    def full(*_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(
        store, "write_json", lambda path, content: full() if "failures" in str(path) else None
    )
    with pytest.raises(AnnelidError, match="disk is full"):
        drive(plan, the_store)


@pytest.mark.long
def test_a_run_with_a_damaged_summary_is_repeated(study, drive, attempts):
    plan, store = study(vary=[RADII])
    drive(plan, store)
    damages = ["", "{", '{"case_hash": "other"}', json.dumps({"case_hash": plan.runs[3].hash})]
    for run, damage in zip(plan.runs, damages, strict=False):
        (store.run_folder(run) / "summary.json").write_text(damage)
    table = drive(plan, store)
    assert [row["status"] for row in table.rows] == ["finished"] * 5
    assert len(attempts(store)) == 9


def test_a_run_with_a_damaged_file_is_repeated_but_not_collected(study, drive, attempts, capsys):
    plan, store = study(vary=[RADII])
    drive(plan, store)
    damaged = store.run_folder(plan.runs[2]) / "case.toml"
    damaged.write_text(damaged.read_text()[:-9])
    before = {path: path.read_bytes() for path in store.path.rglob("*") if path.is_file()}
    assert main(["study", str(store.path), "--collect"]) == 2
    assert f"{damaged}: is not as the run wrote it; run the case again" in capsys.readouterr().err
    assert {path: path.read_bytes() for path in store.path.rglob("*") if path.is_file()} == before
    drive(plan, store)
    text = f"{plan.runs[2].id}: case.toml is not as the run wrote it; the run is repeated"
    assert text in capsys.readouterr().err
    assert attempts(store)[5:] == [plan.runs[2].id]
    assert main(["study", str(store.path), "--collect"]) == 0


def test_two_drivers_cannot_work_on_one_study(study, drive):
    plan, store = study(vary=[RADII])
    create_study(plan, store)
    with store.locked(), pytest.raises(InputError, match=f"process {os.getpid()} .* works on this study"):
        drive(plan, store)
    drive(plan, store)


@pytest.mark.long
def test_runs_of_another_process_are_skipped(study, drive, attempts):
    from annelid.results.atomic import FolderLock

    plan, store = study(vary=[RADII])
    folder = store.run_folder(plan.runs[1])
    folder.mkdir(parents=True)
    lock = FolderLock(folder)
    lock.acquire()
    table = drive(plan, store)
    assert [row["status"] for row in table.rows] == [
        "finished",
        "running",
        "finished",
        "finished",
        "finished",
    ]
    lock.release()
    assert drive(plan, store).rows[1]["status"] == "finished"
    assert len(attempts(store)) == 5


def test_jumps_of_the_clock_do_not_matter(study, drive, monkeypatch):
    # The wall clock jumps by a day, back and forth, at every reading; limits and progress must not use it.
    plan, store = study(vary=[RADII])
    jumps = iter(range(10**9))
    real = time.time
    monkeypatch.setattr(time, "time", lambda: real() + (-1) ** next(jumps) * 86400)
    table = drive(plan, store, time_limit=60.0)
    os.utime(store.run_folder(plan.runs[0]) / "summary.json", (4e9, 4e9))
    assert [row["status"] for row in table.rows] == ["finished"] * 5
    assert [row["status"] for row in drive(plan, store).rows] == ["finished"] * 5


SCRIPT = """
import sys
from pathlib import Path
from annelid.cases.studies.driver import run_study
from annelid.cases.studies.opening import create_study, open_study
from annelid.cases.studies.settings import Settings
from annelid.cases.studies.table import StudyTable
plan, store = open_study(sys.argv[1], Path(sys.argv[2]))
create_study(plan, store)
with store.locked():
    run_study(plan, store, StudyTable(plan, store), Settings(workers=2, runner="stand_in_runs"))
"""


@pytest.fixture
def started_driver(study, drive, tmp_path):
    """A driver in a process of its own, in the middle of a study whose later runs are slow."""
    plan, store = study(vary=[runs_with_notes("fine", "good", *(f"slow 0.{i}" for i in range(5, 9)))])
    arguments = [sys.executable, "-c", SCRIPT, str(tmp_path / "some.toml"), str(store.path)]
    process = start_interruptible(arguments, stderr=subprocess.PIPE, text=True)
    wait_until(lambda: sum(store.state(run) == "finished" for run in plan.runs) >= 2)
    yield plan, store, process
    process.kill()
    process.wait()
    process.stderr.close()


def wait_until(done, seconds=60):
    begin = time.monotonic()
    while not done():
        assert time.monotonic() - begin < seconds
        time.sleep(0.02)


def workers_of(pid):
    return [int(child) for child in Path(f"/proc/{pid}/task/{pid}/children").read_text().split()]


def has_ended(pid):
    try:
        return Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()[0] == "Z"
    except OSError:
        return True


def test_the_driver_may_be_killed(started_driver, drive, attempts):
    plan, store, process = started_driver
    workers = workers_of(process.pid)
    finished = [run.id for run in plan.runs if store.state(run) == "finished"]
    process.kill()
    process.wait()
    wait_until(lambda: all(has_ended(pid) for pid in workers))
    assert workers
    table = drive(plan, store)
    assert [row["status"] for row in table.rows] == ["finished"] * 6
    assert all(attempts(store).count(run) == 1 for run in finished)


def test_a_worker_and_all_workers_may_be_killed(started_driver, attempts):
    plan, store, process = started_driver
    for pid in workers_of(process.pid):
        os.kill(pid, signal.SIGKILL)
    assert process.wait(timeout=60) == 0
    assert [store.failure(run) for run in plan.runs] == [None] * 6
    assert [store.state(run) for run in plan.runs] == ["finished"] * 6


@pytest.mark.parametrize("number", [signal.SIGINT, pytest.param(signal.SIGTERM, marks=pytest.mark.long)])
def test_a_request_to_stop_ends_driver_and_workers_at_once(started_driver, drive, number):
    plan, store, process = started_driver
    workers = workers_of(process.pid)
    process.send_signal(number)
    assert process.wait(timeout=10) != 0
    wait_until(lambda: all(has_ended(pid) for pid in workers), 5)
    assert not (store.path / ".lock").exists()
    assert [row["status"] for row in drive(plan, store).rows] == ["finished"] * 6


def test_the_table_can_be_read_while_the_study_runs(study, drive, monkeypatch):
    from pyarrow import csv, parquet

    plan, store = study(vary=[runs_with_notes("fine", "slow 0.3", "slow 3")])
    seen = []
    monkeypatch.setattr(driver, "_TABLE_INTERVAL", 0.0)
    monkeypatch.setattr(driver, "_TABLE_FRACTION", 1.0)
    real = driver.StudyTable.write

    def write(table):
        real(table)
        rows = parquet.read_table(store.path / "study.parquet").to_pylist()
        assert csv.read_csv(store.path / "study.csv").num_rows == len(rows) == 3
        seen.append([row["status"] for row in rows].count("finished"))

    monkeypatch.setattr(driver.StudyTable, "write", write)
    drive(plan, store)
    assert seen == sorted(seen)
    assert seen[-1] == 3
    assert any(0 < finished < 3 for finished in seen)  # while it ran; two runs may end between two checks


def test_workers_that_do_not_start_end_the_study(study, drive):
    plan, store = study(vary=[RADII])
    with pytest.raises(AnnelidError, match=r"workers do not start.*no_such_runner"):
        drive(plan, store, runner="no_such_runner")


def test_nothing_is_unpickled_evaluated_or_run_by_a_shell():
    import ast

    for path in (ROOT / "cases" / "studies").glob("*.py"):
        for node in ast.walk(ast.parse(path.read_text())):
            if isinstance(node, ast.Import | ast.ImportFrom):
                names = {alias.name for alias in node.names} | {getattr(node, "module", None)}
                assert not names & {"pickle", "dill", "shelve", "marshal"}, path
            if isinstance(node, ast.Call):
                called = getattr(node.func, "id", "")
                assert called not in ("eval", "exec", "compile"), path
                assert not any(keyword.arg == "shell" for keyword in node.keywords), path
