# SPDX-License-Identifier: MIT
"""The command on a uniform tube, whose exact solution is known."""

import os
import signal
import subprocess
import sys
import time

import pytest
import tomli_w
from exact import tube
from plain_tube import ROOT

from annelid.results.verification.record import TOO_CLOSE, read_verification

EXACT = tube.neo_hookean_pressure(0.2, 10.0, 20.0, 1.5, 1.0)  # MPa; Rivlin 1949, from memory
CASE = {
    "title": "A thick tube",
    "shape": {
        "kind": "tube",
        "inner_radius": "10 mm",
        "length": "10 mm",
        "layers": [{"name": "wall", "thickness": "10 mm"}],
    },
    "mesh": {"along": "10 mm", "through": 1},
    "materials": {"rubber": {"law": "neo-hookean", "shear_modulus": "0.2 MPa"}},
    "parts": [{"region": "wall", "material": "rubber"}],
    "supports": [{"region": "end_low", "hold": "axial"}, {"region": "end_high", "hold": "axial"}],
    "sections": [{"name": "middle", "at": "5 mm"}],
    "stages": [{"name": "open", "pressure": "50 kPa", "opening": {"middle": "15 mm"}, "steps": 2}],
    "path": {"seek_limit": 1, "harmonics": "none"},
    "requirements": [
        {"quantity": "lumen pressure", "at_least": f"{EXACT} MPa"},
        {"quantity": "lumen pressure", "at_most": "90 kPa"},
    ],
}


@pytest.mark.slow
def test_bars_of_a_tube_after_a_kill(annelid, tmp_path):
    (tmp_path / "tube.toml").write_text(tomli_w.dumps(CASE))
    listed = annelid("verify", "tube.toml", "bars", "--dry-run")
    assert listed.returncode == 0, listed.stderr
    assert "mesh 1/4" in listed.stdout
    assert not (tmp_path / "bars").exists()
    environment = {**os.environ, "PYTHONPATH": str(ROOT)}
    command = [sys.executable, "-m", "annelid", "verify", "tube.toml", "bars", "--workers", "1"]
    first = subprocess.Popen(command, cwd=tmp_path, env=environment, stdout=subprocess.PIPE)
    while not (done := list(tmp_path.glob("bars/runs/*/summary.json"))) and first.poll() is None:
        time.sleep(0.1)
    first.send_signal(signal.SIGKILL)
    first.communicate()
    kept = {path: path.stat().st_mtime_ns for path in done}
    again = annelid("verify", "tube.toml", "bars", "--workers", "1")
    assert again.returncode == 0, again.stderr
    assert kept
    assert {path: path.stat().st_mtime_ns for path in kept} == kept  # not repeated
    found = read_verification(tmp_path / "bars")
    bar = found.bar("lumen pressure", "at the last state")
    assert 1e-6 < abs(bar.value - EXACT) <= bar.half_width < 3 * abs(bar.value - EXACT)
    assert abs(bar.best - EXACT) < 0.1 * abs(bar.value - EXACT)
    assert [verdict.answer for verdict in found.verdicts] == [TOO_CLOSE, "met"]
    assert f"{TOO_CLOSE}  lumen pressure" in again.stdout
    page = (tmp_path / "bars" / "verification.html").read_text()
    assert "Some requirements are too close to call" in page
    assert page.count("<svg") >= 1
    assert (tmp_path / "bars" / "bars.csv").read_text().startswith("quantity,where,unit,value,half_width")


@pytest.mark.parametrize(
    ("more", "message"),
    [(["--finer", "9"], "--finer: must be between 1 and 5, got 9"), ([], "exists and is not a study folder")],
)
def test_what_cannot_be_done_is_refused_before_anything_is_written(annelid, tmp_path, more, message):
    (tmp_path / "tube.toml").write_text(tomli_w.dumps(CASE))
    (tmp_path / "bars").mkdir()
    (tmp_path / "bars" / "notes.txt").write_text("mine")
    done = annelid("verify", "tube.toml", "bars", *more)
    assert done.returncode == 2
    assert message in done.stderr
    assert [path.name for path in (tmp_path / "bars").iterdir()] == ["notes.txt"]
