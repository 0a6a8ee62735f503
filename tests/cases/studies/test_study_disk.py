# SPDX-License-Identifier: MIT
"""Studies on a real disk that is full or read-only; permissions would not stop root."""

import os

import pytest
import tomli_w

FAILED, INPUT = 1, 2
PRESSURES = {"key": "stages.fill.pressure", "values": [f"{number / 10} mmHg" for number in range(10, 18)]}


@pytest.fixture
def file(tables, tmp_path):
    """A study of eight pressures of a tube, of less than a second each; each run keeps its fields."""
    tables["stages"] = [{"name": "fill", "pressure": "2 mmHg", "steps": 2}]
    content = {"title": "Pressures", "case": tables, "vary": [PRESSURES]}
    path = tmp_path / "pressures.toml"
    path.write_text(tomli_w.dumps(content | {"output": {"reports": False, "keep": "all"}}))
    return path


def fill_up(place, room):
    """Fill the disk except for ``room`` bytes."""
    there = os.statvfs(place)
    with open(place / "ballast", "wb") as ballast:
        os.posix_fallocate(ballast.fileno(), 0, there.f_bavail * there.f_frsize - room)


def summaries(folder):
    return {path: path.stat().st_mtime_ns for path in folder.glob("runs/*/summary.json")}


@pytest.mark.long
@pytest.mark.slow
def test_a_disk_that_fills_up_affects_no_finished_run(annelid, disk, file):
    place, _ = disk
    folder = place / "study"
    fill_up(place, 1_500_000)
    done = annelid("study", file, "--out", folder, "--workers", 1)
    assert done.returncode == FAILED
    assert "the disk is full. Finished runs are kept; free some space" in done.stderr
    assert "Traceback" not in done.stderr
    before = summaries(folder)
    assert 1 <= len(before) < 8
    status = annelid("study", folder, "--status").stdout
    assert f"{len(before)} finished" in status
    assert "failed" not in status  # the run itself has not failed
    assert not (folder / ".lock").exists()

    again = annelid("study", file, "--out", folder)
    assert again.returncode == FAILED  # still full: the same message
    assert "the disk is full" in again.stderr
    (place / "ballast").unlink()
    done = annelid("study", file, "--out", folder)
    assert done.returncode == 0, done.stderr
    assert f"8 finished ({8 - len(before)} new)" in done.stdout
    assert summaries(folder).items() >= before.items()


@pytest.mark.long
@pytest.mark.slow
def test_a_read_only_disk_is_reported_and_can_still_be_read(annelid, disk, file):
    place, change = disk
    folder = place / "study"
    change("ro")
    done = annelid("study", file, "--out", folder)
    assert done.returncode == INPUT
    assert "cannot be written (Read-only file system)" in done.stderr
    change("rw")
    assert annelid("study", file, "--out", folder).returncode == 0
    before = summaries(folder)
    change("ro")
    for options in ([], ["--collect"], ["--retry"], ["--only", "#1"]):
        done = annelid("study", folder, *options)
        assert done.returncode == INPUT, options
        assert "cannot be written (Read-only file system); finished runs are kept" in done.stderr
        assert "Traceback" not in done.stderr
    assert "8 finished" in annelid("study", folder, "--status").stdout
    assert annelid("study", folder, "--dry-run").returncode == 0
    assert summaries(folder) == before
