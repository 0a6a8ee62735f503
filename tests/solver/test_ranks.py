# SPDX-License-Identifier: MIT
"""The same answers on one rank and on two."""

import os
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
from rank_script import CASES, results

SAME = 1e-9  # relative to the largest entry of each array
ROOT = Path(__file__).resolve().parents[2]


@pytest.fixture(scope="module")
def on_two_ranks(tmp_path_factory):
    """Results of the script on two ranks."""
    target = tmp_path_factory.mktemp("ranks") / "two.npz"
    script = Path(__file__).with_name("rank_script.py")
    launcher = [str(Path(sys.executable).with_name("mpiexec")), "-launcher", "fork", "-n", "2"]
    paths = [str(ROOT), os.environ.get("PYTHONPATH", "")]
    environment = os.environ | {"PYTHONPATH": os.pathsep.join(p for p in paths if p)}
    environment.setdefault("UCX_TLS", "self,sm,tcp")
    # mpi4py as main module ends both ranks when one fails.
    command = [*launcher, sys.executable, "-m", "mpi4py", str(script), str(target)]
    done = subprocess.run(command, env=environment, capture_output=True, text=True, timeout=500)
    assert done.returncode == 0, done.stderr[-4000:]
    with np.load(target) as data:
        return dict(data)


@pytest.fixture(scope="module")
def on_one_rank():
    return results()


@pytest.mark.mpi
def test_two_ranks_took_part(on_two_ranks):
    assert on_two_ranks["ranks"] == 2


@pytest.mark.mpi
@pytest.mark.parametrize("case", CASES)
def test_same_answers(on_one_rank, on_two_ranks, case):
    serial = {k: v for k, v in on_one_rank.items() if k.startswith(case)}
    assert len(serial) > 10
    assert serial.keys() == {k for k in on_two_ranks if k.startswith(case)}
    for key, value in serial.items():
        other = on_two_ranks[key]
        if value.dtype.kind in "Ui":
            assert np.array_equal(value, other), key
            continue
        scale = np.abs(value[np.isfinite(value)]).max(initial=1.0)
        np.testing.assert_allclose(other, value, rtol=0, atol=SAME * scale, err_msg=key)
