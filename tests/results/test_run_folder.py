# SPDX-License-Identifier: MIT
import csv
import json
import os
import signal
import socket
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from synthetic_runs import CASE, CASE_HASH, OUTCOME, VERDICTS, create, finished, states

from annelid.geometry.errors import InputError
from annelid.results import atomic
from annelid.results.atomic import FolderLock, write_atomically
from annelid.results.folder.folder_files import status
from annelid.results.folder.run_record import open_run
from annelid.solver.records import Measure


def test_the_status_follows_the_progress_of_a_run(tmp_path, tube):
    folder = tmp_path / "deep" / "run"
    assert status(folder) == "absent"
    with create(folder, tube) as run:
        assert status(folder, CASE_HASH) == "unfinished"
        for state in states(tube):
            run.append(state)
        assert status(folder, CASE_HASH) == "unfinished"
        run.finish(OUTCOME)
    assert status(folder, CASE_HASH) == "finished"
    assert status(folder) == "finished"
    assert status(folder, "other") == "of another case"


def test_run_folder_contains_the_written_records(tube_run, tube):
    run = open_run(tube_run)
    expected = list(states(tube))
    assert run.outcome == OUTCOME
    assert run.verdicts == VERDICTS
    assert run.title == "Cuff <b>1</b> & co"
    assert (run.path / "case.toml").read_text() == CASE
    assert run.provenance["ranks"] == 1
    assert run.table.stages == ("settle", "inflate", "inflate", "inflate")
    assert run.table.loads == ("pressure", "voltage ring")
    np.testing.assert_array_equal(
        run.table["peak stress"], [state.quantities["peak stress"].value for state in expected]
    )
    assert run.table.units["peak stress"] == "MPa"
    np.testing.assert_array_equal(run.table["peak stress at Z"], [6.0] * 4)
    assert "peak stress at Z" not in run.table.quantities
    np.testing.assert_array_equal(run.profiles(2)["lumen"].radius, expected[2].profiles["lumen"].radius)
    for name in ("points", "cells", "facets", "normal"):
        np.testing.assert_array_equal(getattr(run.body, name), getattr(tube, name))
    assert {k: v.tolist() for k, v in run.body.bands.items()} == {
        k: v.tolist() for k, v in tube.bands.items()
    }
    assert list(run.body.regions) == ["liner", "skin"]
    assert run.body.hoop is None


def test_the_summary_has_units_and_writes_infinity_as_text(tmp_path, tube):
    with create(tmp_path / "run", tube) as run:
        state = next(states(tube))
        run.append(replace(state, quantities={"breakdown margin": Measure(np.inf, "1")}))
        run.finish(OUTCOME)
    summary = json.loads((tmp_path / "run/summary.json").read_text())
    assert summary["final_state"]["quantities"] == {"breakdown margin [1]": "inf"}
    assert summary["case_hash"] == CASE_HASH
    assert open_run(tmp_path / "run").table["breakdown margin"][0] == np.inf


@pytest.mark.parametrize(
    ("prepare", "match"),
    [
        (
            lambda folder, body: (folder.mkdir(), (folder / "letter.txt").write_text("dear")),
            "not a Run folder",
        ),
        (lambda folder, body: folder.write_text("a file"), "not a Run folder"),
        (lambda folder, body: finished(folder, body, case_hash="other"), "of another case"),
        (lambda folder, body: finished(folder, body), "contains the finished run of this case"),
    ],
)
def test_folder_with_other_content_is_not_changed(tmp_path, tube, prepare, match):
    folder = tmp_path / "run"
    prepare(folder, tube)
    before = {p: p.read_bytes() for p in tmp_path.rglob("*") if p.is_file()}
    with pytest.raises(InputError, match=match):
        create(folder, tube)
    assert {p: p.read_bytes() for p in tmp_path.rglob("*") if p.is_file()} == before


def test_only_files_of_an_unfinished_run_are_removed(tmp_path, tube):
    folder = tmp_path / "run"
    with create(folder, tube) as run:
        for state in states(tube):
            run.append(state)
    (folder / "notes.md").write_text("mine")
    (folder / ".path.csv.77.part").write_text("left by a kill")
    with create(folder, tube) as run:
        assert not (folder / "path.csv").exists()
        assert not list((folder / "fields").iterdir())
        run.append(next(states(tube)))
        run.finish(OUTCOME)
    assert len(open_run(folder).table) == 1
    assert (folder / "notes.md").read_text() == "mine"
    assert not list(folder.rglob("*.part"))
    assert not (folder / ".lock").exists()


def test_a_finished_run_can_be_repeated(tmp_path, tube):
    folder = finished(tmp_path / "run", tube)
    with create(folder, tube, rerun=True):
        assert status(folder, CASE_HASH) == "unfinished"


def test_a_new_column_is_inserted_at_its_position(tmp_path, tube):
    first, second, *_ = states(tube)
    loads = {"pressure": first.loads["pressure"], "axial force end_high": Measure(0.5, "N")}
    with create(tmp_path / "run", tube) as run:
        run.append(first)
        run.append(replace(second, loads=loads, quantities=dict(second.quantities, late=Measure(1.0, "mm"))))
    table = open_run(tmp_path / "run").table
    assert set(table.loads) == {"pressure", "axial force end_high", "voltage ring"}
    np.testing.assert_array_equal(table["axial force end_high"], [np.nan, 0.5])
    np.testing.assert_array_equal(table["late"], [np.nan, 1.0])
    assert "late" in table.quantities


@pytest.mark.parametrize(
    ("keep", "kept"), [("all", [0, 1, 2, 3]), ("stage ends", [0, 3]), ("last", [3]), ("none", [])]
)
def test_fields_are_stored_for_the_chosen_states(tmp_path, tube, keep, kept):
    run = open_run(finished(tmp_path / "run", tube, keep_fields=keep))
    assert sorted(run.field_files) == kept
    assert all(path.exists() for path in run.field_files.values())
    if 1 not in kept:
        with pytest.raises(InputError, match=r"contains no fields|not written"):
            run.field_file(1)


def test_last_fields_of_an_incomplete_stage_are_stored(tmp_path, tube):
    with create(tmp_path / "run", tube, keep_fields="stage ends") as run:
        for state in states(tube):
            run.append(replace(state, parameter=0.5 * state.parameter))
        run.finish(OUTCOME)
    assert sorted(open_run(tmp_path / "run").field_files) == [0, 3]
    assert (tmp_path / "run/surface/state_0003_lumen.stl").exists()


def test_surfaces_are_left_out_on_request(tmp_path, tube):
    folder = finished(tmp_path / "run", tube, keep_surfaces=False)
    assert not (folder / "surface").exists()
    assert open_run(folder).outcome == OUTCOME


ENDLESS = """
import sys
sys.path.insert(0, sys.argv[2])
from dataclasses import replace
from synthetic_runs import create, states
from synthetic_parts import meridian_tube
body = meridian_tube(2, 6)
run = create(sys.argv[1], body)
state = list(states(body))[1]
index = 0
while True:
    run.append(replace(state, index=index))
    index += 1
    print(index, flush=True)
"""


def test_rows_are_complete_after_a_kill(tmp_path, tube):
    folder = tmp_path / "run"
    here = Path(__file__).parent
    writer = subprocess.Popen(
        [sys.executable, "-c", ENDLESS, str(folder), str(here)],
        stdout=subprocess.PIPE,
        text=True,
        env=os.environ | {"PYTHONPATH": str(here.parents[1])},
    )
    with writer, writer.stdout:
        while int(writer.stdout.readline()) < 8:
            pass
        with pytest.raises(InputError, match=rf"process {writer.pid} on {socket.gethostname()}"):
            create(folder, tube)
        writer.send_signal(signal.SIGKILL)
    assert status(folder, CASE_HASH) == "unfinished"
    with open(folder / "path.csv", newline="") as file:
        header, *rows = csv.reader(file)
    assert len(rows) >= 8
    assert {len(row) for row in rows} == {len(header)}
    run = open_run(folder)
    assert set(run.table["state"].astype(int)) <= set(run.field_files)
    assert run.outcome is None
    assert (folder / ".lock").exists()
    finished(folder, tube)
    assert status(folder, CASE_HASH) == "finished"


def test_an_incomplete_last_row_is_ignored(tube_run, tmp_path):
    from annelid.results.folder.tables import read_path
    from annelid.solver.display import DisplayUnits

    torn = tmp_path / "path.csv"
    torn.write_text((tube_run / "path.csv").read_text()[:-7])
    assert len(read_path(torn, DisplayUnits())) == 3


def _lock_of(folder, **changes):
    lock = FolderLock(folder)
    lock.acquire()
    holder = json.loads((folder / ".lock").read_text()) | changes
    (folder / ".lock").write_text(json.dumps(holder))


def test_a_lock_of_another_host_is_respected(tmp_path):
    _lock_of(tmp_path, host="elsewhere", pid=1)
    with pytest.raises(InputError, match=r"process 1 on elsewhere .* delete"):
        FolderLock(tmp_path).acquire()


def test_a_lock_of_a_reused_process_number_is_stale(tmp_path):
    _lock_of(tmp_path, process_start="1")
    lock = FolderLock(tmp_path)
    lock.acquire()
    assert json.loads((tmp_path / ".lock").read_text())["process_start"] != "1"
    lock.release()
    assert list(tmp_path.iterdir()) == []


def test_an_interrupted_write_keeps_the_old_content(tmp_path, monkeypatch):
    target = tmp_path / "file"
    write_atomically(target, "old")

    def interrupted(source, destination):
        assert Path(source).read_text() == "new"
        raise KeyboardInterrupt

    monkeypatch.setattr(atomic.os, "replace", interrupted)
    with pytest.raises(KeyboardInterrupt):
        write_atomically(target, "new")
    assert [p.name for p in tmp_path.iterdir()] == ["file"]
    assert target.read_text() == "old"


def test_log_lines_have_the_time(tmp_path, tube):
    with create(tmp_path / "run", tube) as run:
        run.log("one\ntwo")
    lines = (tmp_path / "run/log.txt").read_text().splitlines()
    assert [line.split("  ")[1] for line in lines] == ["one", "two"]
    assert all(line.startswith("20") and "+00:00" in line for line in lines)


def test_a_folder_without_a_run_cannot_be_opened(tmp_path):
    with pytest.raises(InputError, match="contains no run"):
        open_run(tmp_path / "nothing")
    (tmp_path / "letter").write_text("dear")
    with pytest.raises(InputError, match="not a run folder"):
        open_run(tmp_path)


def test_negative_state_numbers_count_from_the_end(tube_run):
    run = open_run(tube_run)
    assert run.field_file(-1) == run.field_file() == run.field_file(3)
    for wrong in (9, -9):
        with pytest.raises(InputError, match=rf"state {wrong}: .* 0 to 3"):
            run.field_file(wrong)


def test_writing_a_run_imports_no_plotting_library():
    check = (
        "import sys, annelid.results.folder.run_folder, annelid.results.folder.run_record;"
        "print([m for m in ('matplotlib', 'pyvista', 'vtkmodules', 'jinja2', 'dolfinx') if m in sys.modules])"
    )
    root = Path(__file__).parents[2]
    result = subprocess.run(
        [sys.executable, "-c", check], capture_output=True, text=True, check=True, cwd=root
    )
    assert result.stdout.strip() == "[]"


def test_a_damaged_mesh_file_is_an_error(tube_run, tmp_path):
    from annelid.results.folder.body_file import read_body_file

    broken = tmp_path / "body.npz"
    broken.write_bytes((tube_run / "body.npz").read_bytes()[:100])
    with pytest.raises(InputError, match="cannot be read"):
        read_body_file(broken)
