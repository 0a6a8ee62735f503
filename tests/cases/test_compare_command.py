# SPDX-License-Identifier: MIT
"""The commands about scans: a run, an invented scan of it, and their comparison."""

import json
import shutil

import numpy as np
import pytest
import tomli_w
from plain_tube import BARE

from annelid.cases.cli.main import main
from annelid.results.folder.digests import read_sealed


@pytest.fixture(scope="module")
def place(tmp_path_factory):
    """A folder with a run of a tube whose ends differ, and an invented scan of it."""
    folder = tmp_path_factory.mktemp("scanned")
    case = folder / "tube.toml"
    case.write_text(tomli_w.dumps(BARE | {"mesh": {"along": "1 mm", "through": 1}}))
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


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (["run", "invented_5.ply"], "required: --unit"),
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
        (["run", "invented_5.ply", "--unit", "mm", "--datum", "points"], "at least 3 are needed"),
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
