# SPDX-License-Identifier: MIT
"""The command ``annelid repeatability``: wrong input exits with 2 and writes nothing."""

import shutil
import sys
from pathlib import Path

import pytest

from annelid.cases.cli.main import main
from annelid.results.folder.digests import read_sealed

sys.path += [str(Path(__file__).parents[1] / name) for name in ("results", "compare")]
from comparison_parts import deviating_scan, write_points
from synthetic_parts import meridian_tube
from synthetic_runs import finished

from annelid.compare.comparison.simulated_part import ComparisonSettings, simulated_part


@pytest.fixture(scope="module")
def place(tmp_path_factory):
    """A folder with a run of a tube and two scans of it."""
    folder = tmp_path_factory.mktemp("repeated")
    finished(folder / "run", meridian_tube(2, 6))
    surface = simulated_part(folder / "run", ComparisonSettings("mm")).surface
    for i in range(2):
        points, *_ = deviating_scan(surface, lambda z, θ, i=i: 0.05 * i + 0.0 * z, seed=i, count=1500)
        write_points(folder / f"s{i}.ply", points)
        write_points(folder / f"far{i}.ply", 4.0 * points)
    (folder / "torn.ply").write_bytes((folder / "s0.ply").read_bytes()[:900])
    lists = {
        "good": "scan,part\ns0.ply,a\ns1.ply,b\n",
        "one": "scan,part\ns0.ply,a\n",
        "other": "scan,part\nfar0.ply,a\ns1.ply,b\n",
        "torn": "scan,part\ntorn.ply,a\ns1.ply,b\n",
        "folder": "scan,part\nrun,a\ns1.ply,b\n",
        "points": "scan,part,points\ns0.ply,a,absent.csv\ns1.ply,b,\n",
    }
    for name, text in lists.items():
        (folder / f"{name}.csv").write_text(text)
    return folder


@pytest.mark.slow
def test_two_scans_have_a_folder_in_the_run(place, capsys):
    command = ["repeatability", str(place / "run"), "--list", str(place / "good.csv"), "--unit", "mm"]
    assert main(command) == 0
    folder = place / "run" / "repeatability" / "good"
    printed = capsys.readouterr().out
    assert f"written: {folder / 'repeatability.html'}" in printed
    assert "Shapes of parts differ by" in printed
    found = read_sealed(folder / "summary.json")
    assert found["kind"] == "annelid repeatability"
    assert found["parts"] == ["a", "b"]
    assert sorted(path.name for path in folder.iterdir()) == sorted([*found["files"], "summary.json"])
    shutil.rmtree(place / "run" / "repeatability")


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (["run", "--unit", "mm"], "required: --list"),
        (["run", "--list", "absent.csv"], "absent.csv: cannot be read"),
        (["run", "--list", "run"], "run: is not a regular file"),
        (["run", "--list", "s0.ply", "--unit", "mm"], "s0.ply"),
        (["run", "--list", "good.csv"], "unit: is empty"),
        (["run", "--list", "good.csv", "--unit", "ell"], "'ell' is not a unit of length of scans"),
        (["run", "--list", "one.csv", "--unit", "mm"], "lists 1 scans; a spread needs at least 2"),
        (["run", "--list", "other.csv", "--unit", "mm"], "far0.ply: "),
        (["run", "--list", "torn.csv", "--unit", "mm"], "torn.ply: "),
        (["run", "--list", "folder.csv", "--unit", "mm"], "neither a scan nor the folder of a comparison"),
        (["run", "--list", "points.csv", "--unit", "mm"], "points: 'absent.csv' is not a file"),
        (
            ["run", "--list", "good.csv", "--unit", "mm", "--by-hand", "one.csv"],
            "column 'scan' is neither part",
        ),
        (["nowhere", "--list", "good.csv", "--unit", "mm"], "run folder nowhere: contains no run"),
        (["run", "--list", "good.csv", "--unit", "mm", "--study", "run"], "run: is not a study folder"),
        (["run", "--list", "good.csv", "--unit", "mm", "--out", "run"], "something other than repeatability"),
        (
            ["run", "--list", "good.csv", "--unit", "mm", "--state", "99"],
            "state 99: its fields were not written",
        ),
    ],
)
def test_wrong_input_exits_with_2_and_writes_nothing(place, monkeypatch, capsys, arguments, message):
    monkeypatch.chdir(place)
    before = sorted(place.rglob("*"))
    try:
        code = main(["repeatability", *arguments])
    except SystemExit as error:  # of the parser of the command line
        code = error.code
    assert code == 2
    assert message in capsys.readouterr().err
    assert sorted(place.rglob("*")) == before
