# SPDX-License-Identifier: MIT
"""Equal tables of a run on one rank and on two, with a stage that ends at a limit."""

import os
import subprocess
import sys

import pytest
import tomli_w
from plain_tube import ROOT, TABLES

from annelid.results.folder.run_record import open_run

SAME = 1e-6  # relative to the largest value of a column
SEARCHED = {
    "name": "more",
    "voltage": {"all": "6 kV"},
    "steps": 2,
    "until": [
        {"quantity": "breakdown margin", "at_most": 2.0},
        {"quantity": "radial expansion middle", "at_least": "14 %"},
    ],
}
ELECTRODES = [
    {"name": "low", "region": "wall", "from": "0 mm", "to": "8 mm"},
    {"name": "high", "region": "wall", "from": "12 mm", "to": "20 mm"},
]
CASE = TABLES | {
    "electrodes": ELECTRODES,
    "path": {"seek_limit": 1.0},
    "stages": [*TABLES["stages"], SEARCHED],
}
MESHES = {
    "axisymmetric": {"along": "2 mm", "through": 1},
    "sector": {"model": "sector", "sector": "30 deg", "around": 36, "along": "4 mm", "through": 1},
}


@pytest.mark.mpi
@pytest.mark.parametrize("model", ["axisymmetric", pytest.param("sector", marks=pytest.mark.long)])
def test_the_table_of_a_run_is_the_same_on_two_ranks(tmp_path, model):
    (tmp_path / "tube.toml").write_text(tomli_w.dumps(CASE | {"mesh": MESHES[model]}))
    tables = []
    for ranks in (1, 2):
        command = [sys.executable, "-m", "annelid", "run", "tube.toml", f"run{ranks}", "--no-report"]
        environment = os.environ | {"PYTHONPATH": str(ROOT)}
        subprocess.run([*command, "--ranks", str(ranks)], cwd=tmp_path, env=environment, check=True)
        run = open_run(tmp_path / f"run{ranks}")
        assert run.provenance["ranks"] == ranks
        tables.append(run.table)
    one, two = tables
    assert len(one) == len(two) > 4
    assert list(one.columns) == list(two.columns)
    assert "peak stress at Z" in one.columns
    for name, values in one.columns.items():
        if name != "residual":
            scale = max(abs(values), default=0.0) or 1.0
            assert two.columns[name] == pytest.approx(values, rel=0.0, abs=SAME * scale, nan_ok=True), name
