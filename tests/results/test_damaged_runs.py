# SPDX-License-Identifier: MIT
"""A reader names the damaged file of a Run folder and writes nothing."""

import json
import os
import re
import shutil
import signal

import pytest
from synthetic_runs import create, finished, states

from annelid.cases.cli.main import main
from annelid.geometry.errors import InputError
from annelid.results.folder.digests import write_sealed
from annelid.results.folder.run_record import open_run
from annelid.results.report.report import write_report

START_FILES = ("provenance.json", "case.toml", "description.json", "body.npz")
LATER_FILES = (
    "log.txt",
    "path.csv",
    "profiles.csv",
    "fields/fields.pvd",
    "fields/state_0003.vtu",
    "surface/state_0003_lumen.stl",
    "surface/state_0003_lumen.ply",
)


def cut(path):
    path.write_bytes(path.read_bytes()[: path.stat().st_size // 2])


def change_one_byte(path):
    content = bytearray(path.read_bytes())
    content[len(content) // 2] ^= 1
    path.write_bytes(content)


def make_folder(path):
    path.unlink()
    path.mkdir()


def make_pipe(path):
    path.unlink()
    os.mkfifo(path)


def make_loop(path):
    path.unlink()
    path.symlink_to(path)


DAMAGES = {
    "missing": lambda path: path.unlink(),
    "empty": lambda path: path.write_text(""),
    "cut": cut,
    "garbage": lambda path: path.write_bytes(b"\xff\xfe\x00garbage" * 100),
    "other JSON": lambda path: path.write_text('{"outcome": 3, "files": [], "digest": null}'),
    "deep JSON": lambda path: path.write_text("[" * 100_000),
    "one byte": change_one_byte,
    "folder": make_folder,
    "pipe": make_pipe,
    "loop": make_loop,
}


def contents(folder):
    return {path: path.is_file() and path.read_bytes() for path in folder.rglob("*")}


def refusal(folder):
    """The message with which a report is refused; nothing is written."""
    before = contents(folder)
    signal.alarm(20)  # a pipe must not be waited for
    with pytest.raises(InputError) as caught:
        write_report(folder, with_pictures=False)
    signal.alarm(0)
    assert contents(folder) == before
    return str(caught.value)


@pytest.mark.parametrize("damage", DAMAGES)
@pytest.mark.parametrize("name", [*START_FILES, *LATER_FILES, "summary.json"])
def test_a_damaged_file_of_a_finished_run(tube_run, tmp_path, name, damage):
    copy = shutil.copytree(tube_run, tmp_path / "run")
    (copy / "report.html").unlink(missing_ok=True)
    DAMAGES[damage](copy / name)
    if (name, damage) == ("summary.json", "missing"):
        assert open_run(copy).outcome is None  # as if the run had been interrupted
    else:
        assert re.search(
            rf"{name}: .*; run the case again \(annelid run --again, or start its study again\)",
            refusal(copy),
        )


@pytest.fixture(scope="module")
def interrupted(tmp_path_factory, tube):
    folder = tmp_path_factory.mktemp("interrupted") / "run"
    with create(folder, tube) as run:
        for state in states(tube):
            run.append(state)
    return folder


@pytest.mark.parametrize("damage", DAMAGES)
@pytest.mark.parametrize("name", [*START_FILES, "fields/state_0003.vtu"])
def test_a_damaged_file_of_an_unfinished_run(interrupted, tmp_path, name, damage):
    copy = shutil.copytree(interrupted, tmp_path / "run")
    DAMAGES[damage](copy / name)
    assert re.search(f"{name}: .*; run the case again", refusal(copy))


@pytest.mark.parametrize("damage", ["garbage", "other JSON", "folder", "pipe", "loop"])
@pytest.mark.parametrize("name", ["path.csv", "profiles.csv", "fields/fields.pvd"])
def test_a_damaged_table_of_an_unfinished_run(interrupted, tmp_path, name, damage):
    """Such a file has no digest yet, because it still grows."""
    copy = shutil.copytree(interrupted, tmp_path / "run")
    DAMAGES[damage](copy / name)
    assert re.search(f"{name}: (cannot be read|is not a|contains no equilibrium)", refusal(copy))


@pytest.mark.parametrize("value", ["inf", "nan", "", "x", "1e999"])
def test_a_state_without_a_number_is_found(interrupted, tmp_path, value):
    copy = shutil.copytree(interrupted, tmp_path / "run")
    lines = (copy / "path.csv").read_text().splitlines(keepends=True)
    lines[2] = value + lines[2][1:]
    (copy / "path.csv").write_text("".join(lines))
    assert re.search(r"path.csv: cannot be read \(", refusal(copy))


def test_other_files_of_the_user_and_the_report_are_no_part_of_the_run(tube_run, tmp_path):
    copy = shutil.copytree(tube_run, tmp_path / "run")
    (copy / "report.html").write_text("edited")
    (copy / "fields" / "view.pvsm").write_text("a view of the user")
    assert "High voltage kills." in write_report(copy, with_pictures=False).read_text()


def test_a_changed_verdict_is_found(tube_run, tmp_path):
    copy = shutil.copytree(tube_run, tmp_path / "run")
    text = (copy / "summary.json").read_text()
    assert '"met": false' in text
    (copy / "summary.json").write_text(text.replace('"met": false', '"met": true'))
    assert re.search("summary.json: is not as the run wrote it", refusal(copy))


def test_a_summary_of_another_case_is_found(tube_run, tube, tmp_path):
    copy = shutil.copytree(tube_run, tmp_path / "run")
    other = finished(tmp_path / "other", tube, case_hash="other")
    shutil.copy(other / "summary.json", copy)
    assert re.search("summary.json: belongs to another case", refusal(copy))


def test_a_file_in_the_place_of_another_is_found(tube_run, tmp_path):
    for name, other in (("summary.json", "provenance.json"), ("provenance.json", "summary.json")):
        copy = shutil.copytree(tube_run, tmp_path / name)
        shutil.copy(copy / other, copy / name)
        assert re.search(f"{name}: is not as the run wrote it", refusal(copy))


def test_a_folder_of_another_version_is_refused(tube_run, tmp_path):
    copy = shutil.copytree(tube_run, tmp_path / "run")
    head = json.loads((copy / "provenance.json").read_text()) | {"format": 1}
    del head["digest"]
    write_sealed(copy / "provenance.json", head)
    assert re.search(
        "provenance.json: was written by another version of the program; run the case again", refusal(copy)
    )


@pytest.mark.parametrize("command", [["report"], ["view", "--image", "picture.png"]])
def test_the_commands_exit_with_2(tube_run, tmp_path, capsys, monkeypatch, command):
    copy = shutil.copytree(tube_run, tmp_path / "run")
    cut(copy / "path.csv")
    before = contents(tmp_path)
    monkeypatch.chdir(tmp_path)
    assert main([*command, str(copy)]) == 2
    assert capsys.readouterr().err.startswith(f"annelid: {copy}/path.csv: is not as the run wrote it; ")
    assert contents(tmp_path) == before
