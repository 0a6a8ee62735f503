# SPDX-License-Identifier: MIT
"""The command line in separate processes, as in the shell of a user."""

import errno
import json
import os
import re
import signal
import subprocess
import sys
import time
import tomllib

import pytest
import tomli_w
from child_process import start_interruptible
from plain_tube import BARE, ROOT

from annelid.cases.cli.main import main
from annelid.cases.cli.parser import parser
from annelid.cases.validate.reading import case_from_tables
from annelid.cases.validate.resolved import case_hash
from annelid.results.folder.folder_files import end_reason, status


@pytest.fixture
def case_file(tmp_path, tables):
    path = tmp_path / "tube.toml"
    path.write_text(tomli_w.dumps(tables))
    return path


def test_help_names_every_command_and_shows_examples(annelid, capsys):
    text = annelid("--help").stdout
    commands = (
        "check",
        "run",
        "mesh",
        "cell",
        "print",
        "report",
        "view",
        "verify",
        "selfcheck",
        "branch",
        "compare",
        "cells",
        "schema",
        "library",
    )
    for command in commands:
        assert f"    {command} " in text
        with pytest.raises(SystemExit):
            parser().parse_args([command, "--help"])
        assert f"usage: annelid {command}" in capsys.readouterr().out
    assert "annelid run my_cuff.toml" in text


@pytest.mark.parametrize("place", [0, 1, 2])
def test_options_may_stand_anywhere_between_the_arguments(place):
    arguments = ["cuff", "out"]
    arguments[place:place] = ["--coarse", "3", "--no-report"]
    options = parser().parse_args(["run", *arguments])
    assert (str(options.case), str(options.rundir), options.coarse) == ("cuff", "out", 3)


def test_the_version_is_printed(annelid):
    assert annelid("--version").stdout.startswith("annelid ")


def test_library_lists_and_prints_cases(annelid):
    listed = annelid("library")
    assert "cuff " in listed.stdout
    assert tomllib.loads(annelid("library", "cuff").stdout)["shape"]["kind"] == "sleeve"
    scanned = annelid("library", "scanned_tube")
    assert tomllib.loads(scanned.stdout)["lattice"]["measured"]["path"] == "scanned_tube.csv"
    assert re.search(
        r"reads scanned_tube\.csv; copy that file to the folder of the case: .*/scanned_tube\.csv",
        scanned.stderr,
    )


def test_check_prints_the_resolved_case_with_size_and_cost(annelid, case_file, tables):
    done = annelid("check", case_file)
    assert done.returncode == 0, done.stderr
    case = case_from_tables(tables)
    assert case_from_tables(tomllib.loads(done.stdout)) == case
    assert f"# case hash {case_hash(case)}" in done.stdout
    assert "unknowns (" in done.stdout
    assert re.search(r"^# 5 steps, at least about \d+ s on one free core", done.stdout, re.MULTILINE)
    assert "# reported quantities: mean radial expansion, " in done.stdout
    assert "minimum scaled Jacobian" in done.stdout


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"title": 3}, "tube.toml: 1 error\n  title: must be a text, got 3"),
        ({"shap": {}}, "  shap: unknown key (did you mean 'shape'?)"),
        ({"mesh": {"along": 2}}, "  mesh.along: 2 has no unit; write a length, for example"),
    ],
)
@pytest.mark.parametrize("command", ["check", "run", "mesh"])
def test_wrong_input_exits_with_2_and_writes_nothing(
    case_file, tables, tmp_path, monkeypatch, capsys, command, change, message
):
    monkeypatch.chdir(tmp_path)
    case_file.write_text(tomli_w.dumps(tables | change))
    before = sorted(tmp_path.iterdir())
    assert main([command, str(case_file)]) == 2
    errors = capsys.readouterr().err
    assert message in errors
    assert "Traceback" not in errors
    assert sorted(tmp_path.iterdir()) == before


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (["run", "no_such.toml"], "no_such.toml: does not exist, and there is no library case of that name"),
        (["run", "."], ".: is a folder, and there is no library case of that name"),
        (["mesh", "cuff", "--out", "cuff.stl"], '--out: "cuff.stl" must end in .msh or .vtu'),
        (["report", "nowhere"], "run folder nowhere: contains no run"),
        (["view", "nowhere", "--image", "a.png"], "run folder nowhere: contains no run"),
    ],
)
def test_wrong_files_exit_with_2(annelid, tmp_path, arguments, message):
    done = annelid(*arguments)
    assert done.returncode == 2
    assert message in done.stderr
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (["run", "cuff", "--ranks", "0"], '"0" is not a whole number of 1 or more'),
        (["run", "cuff", "--coarse", "0.5"], '"0.5" is not a number from 1 to 100'),
        (["run", "cuff", "--coarse", "much"], '"much" is not a number from 1 to 100'),
        (["walk"], "invalid choice: 'walk'"),
        ([], "required: COMMAND"),
    ],
)
def test_wrong_arguments_exit_with_2(capsys, arguments, message):
    with pytest.raises(SystemExit, match="2"):
        main(arguments)
    assert message in capsys.readouterr().err


@pytest.mark.slow
def test_runs_are_neither_repeated_nor_overwritten(annelid, annelid_process, case_file, tables, tmp_path):
    folder = tmp_path / "runs" / f"tube-{case_hash(case_from_tables(tables))[:8]}"
    done = annelid_process("run", case_file)
    assert done.returncode == 0, done.stderr
    assert "reached: all 2 stages" in done.stdout
    assert f"report: {folder.relative_to(tmp_path)}/report.html" in done.stdout
    assert (folder / "report.html").stat().st_size > 10_000
    assert status(folder) == "finished"
    lines = [line for line in done.stderr.splitlines() if " iterations" in line]
    assert len(lines) == json.loads((folder / "summary.json").read_text())["states"] == 5

    finished = (folder / "summary.json").read_bytes()
    repeated = annelid("run", case_file)
    assert "contains the finished run of this case" in repeated.stdout
    assert (folder / "summary.json").read_bytes() == finished

    tables["stages"][1]["voltage"]["all"] = "900 V"
    case_file.write_text(tomli_w.dumps(tables))
    other = annelid("run", case_file, folder)
    assert other.returncode == 2
    assert "contains a run of another case; nothing was written" in other.stderr
    assert (folder / "summary.json").read_bytes() == finished

    (folder / "report.html").unlink()
    (folder / "show/last_state.pvd").unlink()
    files = [folder / "report.html", folder / "show/last_state.pvd"]
    assert annelid("report", folder).stdout.split() == list(map(str, files))
    assert all(file.exists() for file in files)
    assert annelid("view", folder, "--image", "state.png").returncode == 0
    assert (tmp_path / "state.png").read_bytes().startswith(b"\x89PNG")


def test_a_folder_of_something_else_is_not_changed(annelid, case_file, tmp_path):
    (tmp_path / "thesis").mkdir()
    (tmp_path / "thesis" / "chapter.txt").write_text("precious")
    done = annelid("run", case_file, "thesis")
    assert done.returncode == 2
    assert "thesis: is not a Run folder; nothing was written" in done.stderr
    assert [path.name for path in (tmp_path / "thesis").iterdir()] == ["chapter.txt"]


def test_a_load_that_is_not_reached_is_a_result(annelid, case_file, tables, tmp_path):
    tables["stages"][1] = {"name": "energise", "voltage": "40 kV", "steps": 4}
    tables["path"] = {"smallest_step": 0.01}
    tables["requirements"].append({"quantity": "breakdown margin", "at_least": 1, "stage": "energise"})
    case_file.write_text(tomli_w.dumps(tables))
    done = annelid("run", case_file, "run", "--no-report")
    assert done.returncode == 0, done.stderr
    assert "reached: all" not in done.stdout
    assert "NOT MET  breakdown margin: – (at least 1, stage 'energise' was not completed)" in done.stdout
    assert status(tmp_path / "run") == "finished"


def test_mesh_writes_files_that_meshio_reads(annelid, case_file, tmp_path):
    import meshio

    for name in ("tube.msh", "tube.vtu"):
        done = annelid("mesh", case_file, "--out", name)
        assert done.returncode == 0, done.stderr
        assert "minimum scaled Jacobian" in done.stdout
        assert len(meshio.read(tmp_path / name).cells_dict["quad9"]) > 5


@pytest.mark.long
@pytest.mark.mpi
def test_two_ranks_give_the_same_result_as_one(annelid, case_file, tmp_path):
    values = []
    for ranks in (1, 2):
        done = annelid("run", case_file, f"on_{ranks}", "--ranks", ranks, "--no-report")
        assert done.returncode == 0, done.stderr
        summary = json.loads((tmp_path / f"on_{ranks}" / "summary.json").read_text())
        provenance = json.loads((tmp_path / f"on_{ranks}" / "provenance.json").read_text())
        assert provenance["ranks"] == ranks
        values.append(summary["final_state"]["quantities"])
    for name, value in values[0].items():
        assert values[1][name] == pytest.approx(value, rel=1e-5, abs=1e-7), name


def test_ranks_that_are_not_connected_are_refused(annelid_process, case_file, tmp_path):
    done = annelid_process("run", case_file, "alone", "--expect-ranks", 2)
    # It is started without mpiexec, so there is one rank where two were requested.
    assert done.returncode == 2
    assert "2 ranks were requested, but this run has 1" in done.stderr
    assert not (tmp_path / "alone").exists()


@pytest.mark.mpi
def test_more_ranks_than_cells_are_refused(annelid_process, tmp_path):
    one_cell = BARE | {"mesh": {"along": "20 mm", "through": 1}}
    (tmp_path / "short.toml").write_text(tomli_w.dumps(one_cell))
    done = annelid_process("run", "short.toml", "run", "--ranks", 2, "--no-report")
    assert done.returncode == 2, done.stderr
    assert done.stderr.count("1 cells of the mesh are too few for 2 ranks; ask for fewer ranks") == 1


# The command line with a run that waits in its second state, so that it cannot end before the signal.
WAITING = """
import pathlib, sys, time
from annelid.cases.cli.main import main
from annelid.cases.cli.parser import parser
from annelid.cases.run.run_writer import RunWriter
observe = RunWriter.observe
waiting = pathlib.Path("waiting")
def observe_and_wait(writer, state):
    observe(writer, state)
    if writer.states == 2 and not waiting.exists():
        waiting.touch()
        while True:
            time.sleep(0.01)
RunWriter.observe = observe_and_wait
sys.exit(main(sys.argv[1:]))
"""


@pytest.mark.parametrize(
    "end",
    [*(pytest.param(end, marks=pytest.mark.long) for end in (signal.SIGINT, signal.SIGTERM)), signal.SIGKILL],
)
def test_an_interrupted_run_is_reported_and_a_rerun_works(annelid, case_file, tmp_path, end):
    command = [sys.executable, "-c", WAITING, "run", str(case_file), "run", "--no-report"]
    environment = {**os.environ, "PYTHONPATH": str(ROOT)}
    process = start_interruptible(command, cwd=tmp_path, env=environment, stderr=subprocess.PIPE, text=True)
    while not (tmp_path / "waiting").exists():
        assert process.poll() is None, process.stderr.read()
        time.sleep(0.02)
    process.send_signal(end)
    _, errors = process.communicate(timeout=60)
    assert status(tmp_path / "run") == "unfinished"
    assert end_reason(tmp_path / "run") == ("" if end == signal.SIGKILL else "interrupted")
    if end != signal.SIGKILL:
        assert process.returncode == 130
        assert "interrupted; the Run folder is marked as unfinished" in errors
        assert "Traceback" not in errors
    done = annelid("run", case_file, "run", "--no-report")
    assert done.returncode == 0, done.stderr
    assert status(tmp_path / "run") == "finished"


def _interrupt(*_, **__):
    raise KeyboardInterrupt


def test_an_interruption_says_what_it_leaves(case_file, tmp_path, monkeypatch, capsys):
    monkeypatch.setattr("annelid.results.report.report.write_report", _interrupt)
    monkeypatch.setattr("annelid.results.fabrication.sheet.write_fabrication_sheet", _interrupt)
    assert main(["run", str(case_file), str(tmp_path / "run")]) == 130
    assert "annelid: interrupted; the run is finished, and" in capsys.readouterr().err
    assert status(tmp_path / "run") == "finished"
    assert main(["sheet", str(case_file), "--out", str(tmp_path / "sheet")]) == 130
    assert capsys.readouterr().err == "annelid: interrupted\n"


def test_traceback_is_shown_only_with_debug(annelid, case_file, tmp_path, monkeypatch, capsys):
    def fail(*_):
        raise RuntimeError("the disk is gone")

    monkeypatch.setattr("annelid.cases.validate.reading.read_case", fail)
    assert main(["check", str(case_file)]) == 1
    errors = capsys.readouterr().err
    assert (
        errors == "annelid: unexpected error: RuntimeError: the disk is gone. --debug prints the traceback\n"
    )
    assert main(["check", str(case_file), "--debug"]) == 1
    assert "Traceback" in capsys.readouterr().err


def test_schema_describes_every_key(annelid):
    schema = json.loads(annelid("schema").stdout)
    tables = [schema, *schema["$defs"].values()]
    undescribed = [
        (table["title"], key)
        for table in tables
        for key, entry in table.get("properties", {}).items()
        if "description" not in entry and "$ref" not in entry  # a table has its own description
    ]
    assert undescribed == []
    assert schema["$defs"]["TubeTable"]["properties"]["inner_radius"]["examples"] == ["4 mm"]
    assert [choice["type"] for choice in schema["$defs"]["StageTable"]["properties"]["voltage"]["anyOf"]] == [
        "object",
        "string",
    ]
    assert "null" not in json.dumps(schema)


def test_no_equilibrium_exits_with_1_and_keeps_the_outcome(case_file, tmp_path, monkeypatch, capsys):
    from annelid.solver.continuation.path import Path as EquilibriumPath
    from annelid.solver.errors import NoEquilibrium

    def fail(*_, **__):
        raise NoEquilibrium("no equilibrium without loads: residual 3.2e-2")

    monkeypatch.setattr(EquilibriumPath, "follow", fail)
    assert main(["run", str(case_file), str(tmp_path / "run"), "--no-report"]) == 1
    assert "no equilibrium without loads: residual 3.2e-2" in capsys.readouterr().out
    assert status(tmp_path / "run") == "finished"


def test_the_traceback_of_an_unexpected_error_is_in_the_log(case_file, tmp_path, monkeypatch, capsys):
    from annelid.solver.continuation.path import Path as EquilibriumPath

    def fail(*_, **__):
        raise RuntimeError("the disk is gone")

    monkeypatch.setattr(EquilibriumPath, "follow", fail)
    assert main(["run", str(case_file), str(tmp_path / "run"), "--no-report"]) == 1
    log = tmp_path / "run" / "log.txt"
    assert (
        f"unexpected error: RuntimeError: the disk is gone. The traceback is in {log}"
        in capsys.readouterr().err
    )
    assert "Traceback" in log.read_text()
    assert status(tmp_path / "run") == "unfinished"
    assert end_reason(tmp_path / "run") == "the disk is gone"


def test_a_run_that_ends_on_a_full_disk_says_so_in_words(case_file, tmp_path, monkeypatch, capsys):
    from annelid.solver.continuation.path import Path as EquilibriumPath

    def fail(*_, **__):
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC), "path.csv")

    monkeypatch.setattr(EquilibriumPath, "follow", fail)
    assert main(["run", str(case_file), str(tmp_path / "run"), "--no-report"]) == 1
    reason = "path.csv: no space left on device; free some space, then start the same command again"
    assert reason in capsys.readouterr().err
    assert end_reason(tmp_path / "run") == reason
