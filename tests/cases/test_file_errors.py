# SPDX-License-Identifier: MIT
"""Full and read-only disks and names that are too long: one sentence with the path, and no half file."""

import errno
import os
import re
import tomllib

import meshio
import pytest
import tomli_w

from annelid.cases.cli.main import main
from annelid.cases.validate.reading import library_cases
from annelid.geometry.errors import InputError
from annelid.geometry.io.files import write_mesh
from annelid.geometry.writing import DiskFull, replacing, system_error
from annelid.results.folder.folder_files import status
from annelid.results.folder.run_record import open_run

FAILED, INPUT = 1, 2
FULL = "no space left on device; free some space, then start the same command again"
READ_ONLY = "read-only file system; choose another folder"
LONG = "n" * 300


@pytest.fixture
def case(tmp_path, tables, monkeypatch):
    (tmp_path / "work").mkdir()
    monkeypatch.chdir(tmp_path / "work")
    path = tmp_path / "tube.toml"
    path.write_text(tomli_w.dumps(tables))
    return path


def files(folder):
    return sorted(path for path in folder.rglob("*") if not path.is_dir())


@pytest.mark.parametrize(
    ("number", "kind", "text"),
    [
        (errno.ENOSPC, DiskFull, FULL),
        (errno.EDQUOT, DiskFull, "free some space"),
        (errno.EROFS, InputError, READ_ONLY),
        (errno.EACCES, InputError, "permission denied; check the permissions, or choose another folder"),
        (errno.ENAMETOOLONG, InputError, "file name too long; choose a shorter name"),
        (errno.ENOTDIR, InputError, "not a directory"),
    ],
)
def test_errors_of_the_system_in_words(number, kind, text):
    error = system_error(OSError(number, os.strerror(number), "a/path"))
    assert type(error) is kind
    assert error.message.startswith("a/path: ")
    assert text in error.message


def test_failures_of_the_machine_are_no_input_errors():
    for number in (errno.EIO, errno.EMFILE):
        assert not isinstance(system_error(OSError(number, os.strerror(number), "a")), InputError)


@pytest.mark.parametrize(
    "arguments",
    [
        ["check", LONG + ".toml"],
        ["run", LONG],
        ["run", "CASE", LONG],
        ["run", "CASE", f"new/{LONG}"],
        ["mesh", "CASE", "--out", LONG + ".msh"],
        ["mesh", "CASE", "--out", f"{LONG}/tube.msh"],
        ["print", "lattice_sleeve", "--out", LONG],
        ["cells", "--image", LONG + ".png"],
        ["report", LONG],
        ["view", LONG, "--image", "a.png"],
        ["study", LONG],
        ["study", "cuff_voltage", "--collect", "--out", LONG],
    ],
    ids=lambda arguments: " ".join(arguments).replace(LONG, "LONG"),
)
def test_names_that_are_too_long(case, capsys, arguments):
    assert main([str(case) if word == "CASE" else word for word in arguments]) == INPUT
    assert re.search("[Ff]ile name too long|does not exist", capsys.readouterr().err)
    assert list(case.parent.joinpath("work").iterdir()) == []


@pytest.mark.parametrize("command", [["check"], ["run"], ["report"], ["study"], ["mesh", "cuff", "--out"]])
def test_names_that_are_not_utf_8(case, capsys, command):
    name = os.fsdecode(b"caf\xe9.msh")
    case.with_name("work").joinpath(name).write_text(case.read_text())
    assert main([*command, name]) == INPUT
    assert "'caf\\udce9.msh': is not UTF-8; rename the file or the folder" in capsys.readouterr().err
    assert len(list(case.parent.joinpath("work").iterdir())) == 1


def test_a_long_name_of_a_case_file_is_refused_before_anything_is_written(case, capsys):
    long = case.with_name("n" * 249 + ".toml")  # with the hash, the Run folder would have 258 characters
    long.write_text(case.read_text())
    assert main(["run", str(long)]) == INPUT
    assert "file name too long; choose a shorter name" in capsys.readouterr().err
    assert list(case.parent.joinpath("work").iterdir()) == []


def test_the_longest_name_can_be_written(tmp_path):
    path = tmp_path / ("n" * 255)
    with replacing(path) as temporary:
        temporary.write_text("text")
    assert path.read_text() == "text"


def test_a_file_in_the_place_of_a_folder(case, capsys):
    for arguments in (
        ["run", str(case), f"{case}/run"],
        ["mesh", str(case), "--out", f"{case}/a.msh"],
        ["report", f"{case}/run"],
        ["study", "cuff_voltage", "--collect", "--out", f"{case}/study"],
    ):
        before = case.read_bytes()
        try:
            code = main(arguments)
        except SystemExit as stop:  # by the parser of the arguments
            code = stop.code
        assert code == INPUT, arguments
        assert "tube.toml" in capsys.readouterr().err
        assert case.read_bytes() == before


def test_gmsh_does_not_leave_a_part_of_a_mesh(tmp_path, monkeypatch):
    """Gmsh reports no errors of writing, so a file that is not complete must be found."""
    import gmsh

    from annelid.cases.convert.body import body_of
    from annelid.cases.validate.reading import read_case

    body = body_of(read_case(library_cases()["cuff"]))
    target = tmp_path / "cuff.msh"
    write_mesh(body, target)
    before = target.read_bytes()
    whole = gmsh.view.write

    def cut(view, path, append):
        whole(view, path, append)
        os.truncate(path, os.path.getsize(path) // 2)

    monkeypatch.setattr(gmsh.view, "write", cut)
    with pytest.raises(OSError, match="No space left on device"):
        write_mesh(body, target)
    assert target.read_bytes() == before
    assert list(tmp_path.iterdir()) == [target]


@pytest.mark.parametrize("name", ["cuff.msh", "cuff.vtu"])
def test_a_mesh_on_a_full_disk(disk, capsys, name):
    place, change = disk
    change("size=8k")
    assert main(["mesh", "cuff", "--out", str(place / name)]) == FAILED
    assert f"{place / name}: {FULL}" in capsys.readouterr().err
    assert files(place) == []
    change("size=1m")
    assert main(["mesh", "cuff", "--out", str(place / name)]) == 0
    assert "quad9" in meshio.read(place / name).cells_dict


def test_a_run_on_a_full_disk_can_be_started_again(case, disk, capsys):
    place, change = disk
    run = place / "run"
    for size in ("4k", "24k", "200k"):
        change(f"size={size}")
        assert main(["run", str(case), str(run), "--no-report"]) == FAILED
        error = capsys.readouterr().err
        assert f"annelid: {run}/" in error
        assert FULL in error
        assert status(run) in ("absent", "unfinished")
        assert not list(place.rglob("*.part"))
    change("size=4m")
    assert main(["run", str(case), str(run), "--no-report"]) == 0
    assert open_run(run).outcome.kind == "reached"
    change("ro")
    for arguments in (["report", str(run)], ["run", str(case), str(run), "--again"]):
        assert main(arguments) == INPUT
        assert READ_ONLY in capsys.readouterr().err
    assert open_run(run).outcome.kind == "reached"


def test_files_for_a_printer_on_a_full_disk(disk, capsys, tmp_path):
    place, change = disk
    change("size=8k")
    tables = tomllib.loads(library_cases()["lattice_sleeve"].read_text())
    (tmp_path / "sleeve.toml").write_text(tomli_w.dumps(tables))
    assert main(["print", str(tmp_path / "sleeve.toml"), "--out", str(place / "print")]) == FAILED
    assert FULL in capsys.readouterr().err
    assert files(place) == []


def test_an_output_that_takes_nothing(case, capfd):
    with open("/dev/full", "w") as full, pytest.MonkeyPatch.context() as patch:
        patch.setattr("sys.stdout", full)
        assert main(["schema"]) == FAILED
        patch.setattr(full, "flush", lambda: None, raising=False)
    assert "no space left on device" in capfd.readouterr().err
